import { faultArea, faultText, OC_UNKNOWN } from '../j1939/dm1.js';
import { signalOf } from '../j1939/signals.js';
import type { StreamMs } from '../time.js';
import type { Layout } from '../truck/layout.js';
import type { CodesSeen } from './codes-seen.js';
import type { AirReport, BrakeReport, FaultReport, LocationReport, RangeReport } from './report.js';
import { codesOf, intervalOf, orNull } from './report-traffic.js';
import { isFitted, STROKE_FIELDS } from './strokes-seen.js';
import type { Survey } from './survey.js';
import { type LocationSeen, pressureOf } from './tires-seen.js';
import type { Values } from './values.js';

/** Active codes of one sender that are listed. */
export const MAX_FAULT_CODES = 64;

const STROKE_FIRST_SPN = 3785;
const NO_WARNING = 2;

const AIR: readonly [spn: number, what: string][] = [
  [46, 'supply'],
  [117, 'primary circuit'],
  [1087, 'primary circuit'],
  [118, 'secondary circuit'],
  [1088, 'secondary circuit'],
  [1086, 'parking and trailer'],
  [1089, 'auxiliary'],
  [1090, 'suspension'],
  [116, 'brake application'],
  [8484, 'brake application, demanded'],
  [1351, 'compressor'],
];

function rangeOf({ good, last, least, most }: Values): RangeReport | null {
  return good === 0 ? null : { last, least, most };
}

/** @param layout null where there is none: no location means a tire */
export function locationReports(survey: Survey, layout: Layout): LocationReport[] {
  return survey.tires.list().map((seen) => {
    const { bus, sa, location, frames, idle } = seen;
    const index = layout.tireIndexAt(bus, sa, location);
    const pressure = pressureOf(seen);
    const isFine = pressure === seen.fine;
    return {
      bus: survey.buses[bus]!.name,
      sa,
      location,
      subject: index < 0 ? null : layout.tires[index]!.subject,
      frames,
      ...intervalOf(seen.tire1.count === 0 && seen.tire2.count > 0 ? seen.tire2 : seen.tire1),
      from: isFine ? 'TIRE2' : 'TIRE1',
      pressure: rangeOf(pressure),
      temperature: rangeOf(seen.temperature),
      absent: pressure.count === 0 ? 1 : 1 - pressure.good / pressure.count,
      idle,
      leak: seen.status.codes[1]!,
      fault: seen.fault.error,
      outOfRange: seen.threshold.codes.reduce((sum, n, code) => sum + (code < 5 && code !== NO_WARNING ? n : 0), 0),
      target: targetOf(seen),
    };
  });
}

/** What the sender itself takes for the right pressure. */
export function targetOf({ required, cold, reference }: LocationSeen): number | null {
  return orNull([required, cold, reference].find(({ good }) => good > 0)?.last ?? Number.NaN);
}

export function brakeReports(survey: Survey, layout: Layout): BrakeReport[] {
  return survey.strokes.list().flatMap((seen) =>
    Array.from({ length: STROKE_FIELDS }, (_, field) => field)
      .filter((field) => isFitted(seen, field))
      .map((field) => {
        const spn = STROKE_FIRST_SPN + field;
        const end = layout.wheelEndOfBsa[field]!;
        const texts = signalOf(spn)!.states!;
        const wordOf = (code: number): string => texts[code] ?? (code < 0 ? 'none' : `code ${code}`);
        return {
          bus: survey.buses[seen.bus]!.name,
          sa: seen.sa,
          spn,
          subject: end < 0 ? null : layout.wheelEnds[end]!.subject,
          place: placeOfField(field),
          last: wordOf(seen.last[field]!),
          codes: codesOf(seen.codes[field]!, signalOf(spn)!).map((one) => ({ ...one, text: wordOf(one.code) })),
        };
      }),
  );
}

/** `tractor/2/left`: what BSA calls a field, whatever the layout has. */
function placeOfField(field: number): string {
  const [unit, first] = field < STROKE_FIELDS / 2 ? ['tractor', 0] : ['trailer', STROKE_FIELDS / 2];
  const at = field - first;
  return `${unit}/${(at >> 1) + 1}/${at % 2 === 0 ? 'left' : 'right'}`;
}

/** Air signals of which a value came, in the order of the circuits. */
export function airReports(survey: Survey): AirReport[] {
  return AIR.flatMap(([spn, what]) =>
    survey.buses.flatMap((bus) =>
      bus.senders.flatMap((sender) =>
        [...(sender?.groups.values() ?? [])].flatMap((seen): AirReport[] => {
          const at = seen.group?.signals.findIndex((signal) => signal.spn === spn) ?? -1;
          const values = at < 0 ? undefined : seen.values[at]!;
          if (values === undefined || values.good === 0) return [];
          return [
            {
              ...{ what, spn, bus: bus.name, sa: sender!.sa, good: values.good / values.count },
              ...rangeOf(values)!,
              codes: codesOf(values.codes, signalOf(spn)!),
            },
          ];
        }),
      ),
    ),
  );
}

export function faultReports(survey: Survey, endAt: StreamMs): FaultReport[] {
  return survey.codes
    .list()
    .map((seen) => faultReport(survey.buses[seen.bus]!.name, seen, endAt))
    .sort((a, b) => a.sa - b.sa);
}

function faultReport(bus: string, seen: CodesSeen, endAt: StreamMs): FaultReport {
  const { lamps, codes } = seen.dm1;
  const names = { mil: 'malfunction', redStop: 'red stop', amber: 'amber warning', protect: 'protect' } as const;
  const lit = (Object.keys(names) as (keyof typeof names)[]).filter((lamp) => lamps[lamp] === 'on');
  return {
    bus,
    sa: seen.sa,
    messages: seen.messages,
    ageS: (endAt - seen.lastAt) / 1000,
    lamps: lit.map((lamp) => names[lamp]),
    codes: codes.slice(0, MAX_FAULT_CODES).map(({ spn, fmi, oc, cm }) => ({
      spn,
      fmi,
      count: oc === OC_UNKNOWN ? null : oc,
      oldLayout: cm === 1,
      area: cm === 0 ? faultArea(spn) : null,
      text: cm === 0 ? faultText(spn) : null,
    })),
    more: Math.max(0, codes.length - MAX_FAULT_CODES),
  };
}
