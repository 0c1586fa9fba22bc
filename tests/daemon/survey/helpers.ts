import type { TruckConfig } from '../../../config/resolved.js';
import { type Made, makeReport } from '../../../daemon/survey/make-report.js';
import type { SourceReport, SurveyReport } from '../../../daemon/survey/report.js';
import { Survey } from '../../../daemon/survey/survey.js';
import type { Frame } from '../../support/rig.js';

export const SOURCE: SourceReport = {
  kind: 'log',
  names: ['x.log'],
  listened: [],
  skipped: { all: 0, shortIds: 0, rtr: 0, fd: 0 },
  ...{ badLines: 0, otherInterfaces: 0, clamped: 0, seams: 0, endedEarly: false },
};

/** A survey of frames; without a truck file of two buses. */
export function surveyOf(frames: Iterable<Frame>, config: TruckConfig | null = null): Survey {
  const survey = new Survey(config?.signals);
  const buses = config?.buses ?? [
    { name: 'main', interface: 'can0' },
    { name: 'second', interface: 'can1' },
  ];
  for (const bus of buses) survey.addBus(bus.name, bus.interface);
  for (const { t, bus = 0, id, data } of frames) survey.frame(t, bus, id, data, data.length);
  return survey;
}

export const madeOf = (frames: Iterable<Frame>, config: TruckConfig | null = null): Made =>
  makeReport(surveyOf(frames, config), config, SOURCE);

export const reportOf = (frames: Iterable<Frame>, config: TruckConfig | null = null): SurveyReport =>
  madeOf(frames, config).report;
