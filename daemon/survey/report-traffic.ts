import type { TruckConfig } from '../../config/resolved.js';
import { holderOf } from '../j1939/claims.js';
import { GLOBAL_ADDRESS } from '../j1939/identifier.js';
import { PGN_ADDRESS_CLAIM, PGN_DM1, PGN_TP_CM, PGN_TP_DT } from '../j1939/interest.js';
import { addressName, decodeName } from '../j1939/name.js';
import { POSITION_SPNS } from '../j1939/position.js';
import { classify } from '../j1939/ranges.js';
import type { Signal } from '../j1939/signal.js';
import { GROUPS } from '../j1939/signals.js';
import { type BusSeen, ERROR_CLASSES } from './bus-seen.js';
import type { GroupSeen, OtherSeen } from './groups-seen.js';
import type { Intervals } from './intervals.js';
import { isPlausible } from './judgeable.js';
import type {
  BusReport,
  ExtraReport,
  GroupReport,
  IntervalReport,
  NameReport,
  OtherReport,
  SenderReport,
  SignalReport,
  SurveyReport,
} from './report.js';
import type { Survey } from './survey.js';
import type { Values } from './values.js';

/** Other groups that are listed; the rest is counted. */
export const MAX_OTHERS = 100;

/** Groups of interest that are no rows of the signal table. */
const CARRIERS: Readonly<Record<number, string>> = {
  [PGN_DM1]: 'DM1',
  [PGN_ADDRESS_CLAIM]: 'AC',
  [PGN_TP_CM]: 'TP.CM',
  [PGN_TP_DT]: 'TP.DT',
};

/** Proprietary A and A2, B and B2 (SAE J1939-21), requests and acknowledgements. */
const KINDS: readonly [first: number, last: number, kind: OtherReport['kind']][] = [
  [0xef00, 0xef00, 'proprietary'],
  [0x1ef00, 0x1ef00, 'proprietary'],
  [0xff00, 0xffff, 'proprietary'],
  [0x1ff00, 0x1ffff, 'proprietary'],
  [0xea00, 0xea00, 'request'],
  [0xe800, 0xe800, 'acknowledgement'],
];

/** Of frames per second; null over no time at all. */
export const perSecond = (count: number, durationS: number): number | null =>
  durationS > 0 ? count / durationS : null;

/** A number that JSON can have. */
export const orNull = (value: number): number | null => (Number.isNaN(value) ? null : value);

export function intervalOf(intervals: Intervals): IntervalReport {
  return {
    medianMs: intervals.quantile(0.5),
    fromMs: intervals.quantile(0.05),
    toMs: intervals.quantile(0.95),
  };
}

export function busReport(bus: BusSeen, durationS: number): BusReport {
  const { name, link, frames, interesting, foreign, bits, stuffing, errorFrames, errorClasses, transport } = bus;
  const { complete, dropped, timedOut, aborted, replaced, overflow, refused } = transport.counters;
  const classes = ERROR_CLASSES.map((name, i): [string, number] => [name, errorClasses[i]!]);
  return {
    bus: name,
    interface: link,
    frames,
    perS: perSecond(frames, durationS),
    ofInterest: interesting,
    foreign,
    bitsPerS: durationS > 0 ? [Math.round(bits / durationS), Math.round((bits + stuffing) / durationS)] : null,
    errorFrames,
    errors: Object.fromEntries(classes.filter(([, count]) => count > 0)),
    transfers: { complete, broken: dropped + timedOut + aborted + replaced + overflow + refused },
  };
}

export function senderReports(bus: BusSeen, durationS: number): SenderReport[] {
  return bus.senders.flatMap((sender): SenderReport[] => {
    if (sender === undefined) return [];
    const { sa, frames, groups, others } = sender;
    return [
      {
        bus: bus.name,
        sa,
        usual: addressName(sa),
        frames,
        perS: perSecond(frames, durationS),
        groups: groups.size + others.size,
        name: nameReport(holderOf(bus.claims, sa)),
      },
    ];
  });
}

function nameReport(hex: string | null): NameReport | null {
  if (hex === null) return null;
  const bytes = hex.match(/../g)!.map((digits) => Number.parseInt(digits, 16));
  return decodeName(bytes.reverse());
}

export function groupReports(bus: BusSeen, position: TruckConfig['show']['position']): GroupReport[] {
  return bus.senders.flatMap((sender) =>
    [...(sender?.groups.values() ?? [])]
      .sort((a, b) => a.pgn - b.pgn)
      .map((seen) => groupReport(bus.name, sender!.sa, seen, position)),
  );
}

function groupReport(bus: string, sa: number, seen: GroupSeen, position: TruckConfig['show']['position']): GroupReport {
  const { pgn, group, count, long, intervals } = seen;
  return {
    bus,
    sa,
    pgn,
    acronym: group?.acronym ?? CARRIERS[pgn] ?? 'signals',
    count,
    long,
    byLocation: seen.isByLocation,
    standardMs: group?.intervalMs ?? null,
    ...intervalOf(intervals),
    signals: (group?.signals ?? []).map((signal, i) => {
      const report = signalReport(signal, seen.values[i]!, seen.texts[signal.startBit] ?? '', seen.count);
      return POSITION_SPNS.includes(signal.spn) ? atPlace(report, position) : report;
    }),
  };
}

/** The truck file's word on positions holds here as well. */
function atPlace(report: SignalReport, position: TruckConfig['show']['position']): SignalReport {
  if (position === 'exact') return report;
  const round = (x: number | null): number | null =>
    position === 'none' || x === null ? null : Math.round(x * 100) / 100;
  return { ...report, last: round(report.last), least: round(report.least), most: round(report.most) };
}

function signalReport(signal: Signal, values: Values, text: string, messages: number): SignalReport {
  const { spn, name, unit, kind } = signal;
  const isText = kind === 'text';
  const share = (n: number): number => (values.count === 0 ? 0 : n / values.count);
  return {
    spn,
    name,
    unit,
    good: isText ? (text !== '' && messages > 0 ? 1 : 0) : share(values.good),
    absent: isText ? (text === '' ? 1 : 0) : share(values.absent),
    error: share(values.error),
    other: share(values.other),
    last: orNull(values.last),
    least: orNull(values.least),
    most: orNull(values.most),
    plausible: values.good === 0 || isPlausible(spn, values),
    codes: codesOf(values.codes, signal),
    text: text === '' ? null : text,
  };
}

const CODE_WORDS = {
  good: null,
  specific: null,
  reserved: 'reserved',
  error: 'error',
  absent: 'not available',
} as const;

/** Codes that came, with the share of each in all that came, and their meaning where one is known. */
export function codesOf(
  codes: readonly number[],
  { bits, kind, states = {}, exceptions }: Signal,
): { code: number; text: string | null; share: number }[] {
  const sum = codes.reduce((a, b) => a + b, 0);
  return codes.flatMap((frames, code) => {
    if (frames === 0) return [];
    const text = states[code] ?? CODE_WORDS[classify(code, bits, kind, exceptions)];
    return [{ code, text, share: frames / sum }];
  });
}

export function neverCame(survey: Survey): SurveyReport['never'] {
  const came = new Set(survey.buses.flatMap((bus) => bus.senders.flatMap((s) => [...(s?.groups.keys() ?? [])])));
  return GROUPS.filter(({ pgn }) => !came.has(pgn)).map(({ pgn, acronym, intervalMs }) => ({
    ...{ pgn, acronym, onRequest: intervalMs === null },
    requests: survey.requests.get(pgn) ?? 0,
  }));
}

/** All other groups, most frames first, and how many more there are than are listed. */
export function otherReports(survey: Survey): { others: OtherReport[]; more: number } {
  const all = survey.buses.flatMap((bus) =>
    bus.senders.flatMap((sender) =>
      [...(sender?.others.values() ?? [])].map((seen) => otherReport(bus.name, sender!.sa, seen)),
    ),
  );
  all.sort((a, b) => b.count - a.count || a.sa - b.sa || a.pgn - b.pgn);
  return { others: all.slice(0, MAX_OTHERS), more: Math.max(0, all.length - MAX_OTHERS) };
}

function otherReport(bus: string, sa: number, seen: OtherSeen): OtherReport {
  const { pgn, count, destination, data, length, changed } = seen;
  const bytes = [...data.subarray(0, Math.min(length, data.length))];
  return {
    bus,
    sa,
    pgn,
    kind: KINDS.find(([first, last]) => pgn >= first && pgn <= last)?.[2] ?? 'other',
    to: destination < 0 || destination === GLOBAL_ADDRESS ? null : destination,
    count,
    ...intervalOf(seen.intervals),
    data: bytes.map((byte) => byte.toString(16).toUpperCase().padStart(2, '0')).join(''),
    changed: [...data.keys()].filter((i) => (changed >>> i) & 1).map((i) => i + 1),
  };
}

export function extraReports(survey: Survey): ExtraReport[] {
  return survey.extras.map(({ signal, values }) => ({
    subject: signal.subject,
    quantity: signal.quantity,
    pgn: signal.pgn,
    source: signal.source,
    count: values.count,
    good: values.count === 0 ? 0 : values.good / values.count,
    last: orNull(values.last),
    least: orNull(values.least),
    most: orNull(values.most),
  }));
}
