import type { TruckConfig } from '../../config/resolved.js';
import type { StreamMs } from '../time.js';
import { buildLayout, type Layout } from '../truck/layout.js';
import { judgeable, type TireHeard } from './judgeable.js';
import { guessLayout, type LayoutGuess } from './layout-guess.js';
import type { SourceReport, SurveyReport } from './report.js';
import { truckFileReport } from './report-file.js';
import { busReport, extraReports, groupReports, neverCame, otherReports, senderReports } from './report-traffic.js';
import { airReports, brakeReports, faultReports, locationReports } from './report-truck.js';
import type { Survey } from './survey.js';

export interface Made {
  report: SurveyReport;
  /** What the traffic suggests, whatever a truck file says. */
  guess: LayoutGuess;
}

/**
 * What the survey found. With a truck file the survey's buses must be those of the file, in its order.
 * @param time of a live bus, which may have been silent at both ends; null: from the first to the last frame
 */
export function makeReport(
  survey: Survey,
  config: TruckConfig | null,
  source: SourceReport,
  time: { from: StreamMs; to: StreamMs } | null = null,
): Made {
  const from = time?.from ?? survey.firstAt ?? 0;
  const to = time?.to ?? survey.lastAt ?? 0;
  const durationS = (to - from) / 1000;
  const buses = survey.buses.map((bus) => ({ name: bus.name, interface: bus.link, acknowledge: false }));
  const guess = guessLayout(
    survey.tires.list(),
    survey.strokes.list(),
    buses.map(({ name }) => name),
  );
  const shape = config ?? { ...guess, buses };
  const layout = buildLayout(shape);
  const heard = tiresHeard(survey, layout);
  const tires = locationReports(survey, layout);
  const brakes = brakeReports(survey, layout);
  const { others, more } = otherReports(survey);
  const report: SurveyReport = {
    v: 1,
    source,
    durationS,
    buses: survey.buses.map((bus) => busReport(bus, durationS)),
    senders: survey.buses.flatMap((bus) => senderReports(bus, durationS)),
    groups: survey.buses.flatMap((bus) => groupReports(bus, config?.show.position ?? 'exact')),
    never: neverCame(survey),
    others,
    extras: extraReports(survey),
    layout: {
      from: config === null ? 'guess' : 'truck file',
      split: config === null ? guess.split : null,
      units: shape.units,
      tirePositions: shape.tirePositions,
    },
    tires,
    brakes,
    air: airReports(survey),
    faults: faultReports(survey, to),
    rules: judgeable(survey, heard, config),
    truckFile: config === null ? null : truckFileReport(survey, config, layout, heard, tires, brakes),
    leftOut: {
      frames: survey.buses.reduce((sum, { leftOut }) => sum + leftOut, 0),
      others: more,
      locations: survey.tires.leftOut,
      strokes: survey.strokes.leftOut,
      faultCodes: survey.codes.leftOut,
    },
  };
  return { report, guess };
}

function tiresHeard(survey: Survey, layout: Layout): TireHeard[] {
  const heard: TireHeard[] = layout.tires.map(({ subject }) => ({ subject, seen: [] }));
  for (const seen of survey.tires.list()) heard[layout.tireIndexAt(seen.bus, seen.sa, seen.location)]?.seen.push(seen);
  return heard;
}
