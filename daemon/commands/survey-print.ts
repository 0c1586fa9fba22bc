import type { TruckConfig } from '../../config/resolved.js';
import { PGN_ADDRESS_CLAIM, PGN_TP_CM, PGN_TP_DT } from '../j1939/interest.js';
import { LISTED_SPNS } from '../survey/needs.js';
import type { BusReport, GroupReport, NameReport, OtherReport, SurveyReport } from '../survey/report.js';
import { airLines, brakeLines, faultLines, ruleLines, tireLines, truckFileLines } from './survey-print-truck.js';
import { paragraph, table } from './survey-table.js';
import { count, interval, rate, share, signalWords, time, times } from './survey-words.js';

export interface PrintOptions {
  columns: number;
  colour: boolean;
  show: TruckConfig['show'];
  /** Every signal, not only those that rules need. */
  all: boolean;
}

/** Groups of no interest that are printed, of makers' own and of others. */
const OTHERS = 8;
/** A group this much slower than the standard has it is marked. */
const SLOW = 1.5;
/** Paragraphs are no wider than this, however wide the terminal is. */
const MOST_COLUMNS = 120;

const BOLD = ['\u001b[1m', '\u001b[22m'] as const;

/** The report for people, line by line. */
export function surveyLines(report: SurveyReport, options: PrintOptions): string[] {
  const o = { ...options, columns: Math.min(options.columns, MOST_COLUMNS) };
  const sections: [title: string, lines: string[]][] = [
    ['The bus', [...report.buses.flatMap((bus) => busLines(report, bus, o)), ...sourceLines(report, o)]],
    ['Who is there', senderLines(report, o)],
    ['Groups of interest, by sender', groupLines(report, o)],
    ['Groups of interest that never came', neverLines(report, o)],
    ["Makers' own groups", otherLines(report, 'proprietary', o)],
    ['Other groups, the most frequent', otherLines(report, 'other', o)],
    ['Tires', tireLines(report, o)],
    ['Brakes', brakeLines(report, o)],
    ['Air', airLines(report, o)],
    ['Fault codes', faultLines(report, o)],
    ['Rules', ruleLines(report, o)],
    ['Against the truck file', truckFileLines(report, o)],
  ];
  const heading = (title: string): string =>
    o.colour ? `${BOLD[0]}${title.toUpperCase()}${BOLD[1]}` : title.toUpperCase();
  return sections.flatMap(([title, lines]) => (lines.length === 0 ? [] : [heading(title), ...lines, '']));
}

/** `main/49` where there are several buses, else the address alone. */
export const senderName = (report: SurveyReport, { bus, sa }: { bus: string; sa: number }): string =>
  report.buses.length > 1 ? `${bus}/${sa}` : String(sa);

const durationWords = (s: number): string => (s < 600 ? `${s.toFixed(1)} s` : time(1000 * s));

function busLines(report: SurveyReport, bus: BusReport, { columns }: PrintOptions): string[] {
  const { frames, perS, ofInterest, bitsPerS, errorFrames, errors, foreign, transfers } = bus;
  const name = report.buses.length > 1 ? `${bus.bus} (${bus.interface})` : bus.interface;
  const words = [`${name}: ${count(frames)} frames with 29-bit identifiers in ${durationWords(report.durationS)}`];
  if (perS !== null) words.push(`${rate(perS)} per second`);
  if (frames > 0) words.push(`${share(ofInterest / frames)} of interest to Axlepost`);
  const more: string[] = [];
  if (bitsPerS !== null)
    more.push(`${bitsPerS.map((bits) => Math.round(bits / 1000)).join(' to ')} kbit/s on the wire`);
  if (transfers.complete + transfers.broken > 0)
    more.push(`long messages: ${count(transfers.complete)} whole, ${count(transfers.broken)} broken off`);
  if (foreign > 0) more.push(`${count(foreign)} frames are not J1939`);
  const classes = Object.entries(errors).map(([what, n]) => `${what} ${count(n)}`);
  more.push(errorFrames === 0 ? 'no error frames' : `${count(errorFrames)} error frames (${classes.join(', ')})`);
  return [...paragraph(words.join(', '), columns, 2), ...paragraph(more.join(', '), columns, 2)];
}

const STATES: Record<string, string> = {
  'listen-only': 'its controller is in listen-only mode',
  acknowledging: 'its controller ACKNOWLEDGES frames, as the truck file allows: this survey took part in the bus',
  virtual: 'a virtual interface, without a controller',
  down: 'was down',
};

/** How it was listened to, and what of it is not in the report. */
function sourceLines({ source, leftOut }: SurveyReport, { columns }: PrintOptions): string[] {
  const { kind, listened, skipped, badLines, otherInterfaces, clamped, seams, endedEarly } = source;
  const lines = listened.map(({ interface: link, state }) => `${link}: ${STATES[state]}`);
  for (const { interface: link, lost } of listened)
    if (lost !== null && lost > 0)
      lines.push(`${link}: ${count(lost)} frames were lost between the kernel and this program`);
  const some = (n: number, what: string): string[] => (n > 0 ? [`${count(n)} ${what}`] : []);
  const apart =
    kind === 'log'
      ? [...some(skipped.shortIds!, '11-bit'), ...some(skipped.rtr!, 'remote (RTR)'), ...some(skipped.fd!, 'CAN FD')]
      : some(skipped.all, '11-bit, remote or CAN FD');
  const beside = [
    ...(apart.length > 0 ? [`${apart.join(', ')} frames`] : []),
    ...some(otherInterfaces, 'frames of other interfaces'),
    ...some(badLines, 'bad lines'),
    ...some(clamped, 'stamps that go back'),
    ...some(seams, 'jumps back in time'),
    ...some(leftOut.frames, 'frames of groups too many to tell apart'),
    ...some(
      leftOut.locations + leftOut.strokes + leftOut.faultCodes,
      'tire, brake and fault messages of senders too many',
    ),
  ];
  if (beside.length > 0) lines.push(`not in what follows: ${beside.join(', ')}`);
  if (endedEarly) lines.push('ended before its time; what follows is what was heard until then');
  return lines.flatMap((line) => paragraph(line, columns, 4, 2));
}

function senderLines(report: SurveyReport, { columns }: PrintOptions): string[] {
  const rows = report.senders.map((sender) => [
    senderName(report, sender),
    count(sender.frames),
    rate(sender.perS),
    String(sender.groups),
    sender.usual ?? '-',
    nameWords(sender.name),
  ]);
  if (rows.length === 0) return [];
  const titles = [
    { title: 'SA', right: true },
    { title: 'frames', right: true },
    { title: 'per s', right: true },
    { title: 'groups', right: true },
    { title: 'usual use' },
    { title: 'NAME as claimed' },
  ];
  const lines = table(titles, rows, columns);
  if (report.senders.every(({ name }) => name === null))
    lines.push(
      ...paragraph(
        'No unit claimed its address. Units do so when they wake: switch the ignition off and on to hear it.',
        columns,
        2,
      ),
    );
  return lines;
}

function nameWords(name: NameReport | null): string {
  if (name === null) return '-';
  const { hex, manufacturer, identity, industryGroup, arbitraryAddress } = name;
  const system = `system ${name.vehicleSystem}.${name.vehicleSystemInstance}`;
  const what = `function ${name.function}.${name.functionInstance}, ECU ${name.ecuInstance}, ${system}`;
  const free = arbitraryAddress ? ', may move' : '';
  return `${hex.toUpperCase()}: maker ${manufacturer}, ${what}, group ${industryGroup}, identity ${identity}${free}`;
}

function groupLines(report: SurveyReport, o: PrintOptions): string[] {
  const titles = [
    { title: 'SA', right: true },
    { title: 'PGN', right: true },
    { title: 'group' },
    { title: 'count', right: true },
    { title: 'interval (5 to 95 %)' },
  ];
  const rows = report.groups.map((group) => [
    senderName(report, group),
    String(group.pgn),
    group.acronym,
    count(group.count),
    PLAIN[group.pgn] ?? `${interval(group)}${noteOf(group)}`,
  ]);
  // The table lays out all rows alike; the signals of each group go between them.
  const [head, ...body] = table(
    titles,
    rows.map((row) => [...row.slice(0, -1), '\u0000']),
    o.columns,
  );
  return report.groups.flatMap((group, i) => [
    ...(i === 0 ? [head!] : []),
    body[i]!.replace('\u0000', rows[i]!.at(-1)!),
    ...signalLines(group, o),
  ]);
}

/** Groups whose intervals say nothing. */
const PLAIN: Record<number, string> = {
  [PGN_TP_CM]: 'carries long messages',
  [PGN_TP_DT]: 'carries long messages',
  [PGN_ADDRESS_CLAIM]: 'claims its address',
};

function noteOf({ medianMs, standardMs, byLocation, long }: GroupReport): string {
  const notes = [
    ...(byLocation ? ['of each location'] : []),
    ...(long > 0 ? [`${count(long)} of several frames`] : []),
    ...(standardMs !== null && medianMs !== null && medianMs > SLOW * standardMs
      ? [`slower than the standard's ${time(standardMs)}`]
      : []),
  ];
  return notes.length === 0 ? '' : `, ${notes.join(', ')}`;
}

const INDENT = 6;
/** Of a signal's name, on narrow and on wide terminals. */
const NAME_WIDTHS = { narrow: 30, wide: 46, from: 100 };

function signalLines({ signals }: GroupReport, { columns, show, all }: PrintOptions): string[] {
  const listed = signals.filter(({ spn }) => all || LISTED_SPNS.has(spn));
  const told = listed.filter(({ good, error, other }) => good + error + other > 0);
  const silent = listed.filter((signal) => !told.includes(signal)).map(({ spn }) => spn);
  const width = columns >= NAME_WIDTHS.from ? NAME_WIDTHS.wide : NAME_WIDTHS.narrow;
  const lines = told.flatMap((signal) => {
    const name = signal.name.length > width ? `${signal.name.slice(0, width - 1)}…` : signal.name;
    const head = `${' '.repeat(INDENT)}${String(signal.spn).padStart(5)} ${name.padEnd(width)}  `;
    const [first, ...rest] = paragraph(signalWords(signal, show), columns, head.length);
    return [`${head}${first!.trimStart()}`, ...rest];
  });
  if (silent.length > 0)
    lines.push(...paragraph(`never available: SPN ${silent.join(', ')}`, columns, INDENT + 2, INDENT));
  return lines;
}

function neverLines({ never }: SurveyReport, { columns }: PrintOptions): string[] {
  const name = ({ acronym, pgn }: { acronym: string; pgn: number }): string => `${acronym} ${pgn}`;
  const regular = never.filter(({ onRequest }) => !onRequest).map(name);
  const asked = never.filter(({ onRequest }) => onRequest);
  const lines: string[] = [];
  if (regular.length > 0)
    lines.push(...paragraph(`Sent regularly by who has them: ${regular.join(', ')}.`, columns, 2));
  if (asked.length > 0) {
    const names = asked.map((one) => `${name(one)}${one.requests > 0 ? ` (asked for ${times(one.requests)})` : ''}`);
    const text = `Sent on request only, and Axlepost never asks: ${names.join(', ')}.`;
    lines.push(...paragraph(text, columns, 2));
  }
  return lines;
}

function otherLines(report: SurveyReport, kind: 'proprietary' | 'other', { columns }: PrintOptions): string[] {
  const all = report.others.filter((one) => (one.kind === 'proprietary') === (kind === 'proprietary'));
  if (all.length === 0) return [];
  const titles = [
    { title: 'SA', right: true },
    { title: 'PGN', right: true },
    { title: 'hex', right: true },
    { title: 'count', right: true },
    { title: 'interval (5 to 95 %)' },
    { title: 'last data' },
    { title: 'changing bytes' },
  ];
  const rows = all
    .slice(0, OTHERS)
    .map((one) => [
      senderName(report, one),
      String(one.pgn),
      one.pgn.toString(16).toUpperCase(),
      count(one.count),
      interval(one),
      one.data,
      otherWords(one),
    ]);
  const more = all.length - rows.length + (kind === 'other' ? report.leftOut.others : 0);
  return [
    ...table(titles, rows, columns),
    ...(more > 0 ? [`  and ${count(more)} more (--format json lists them)`] : []),
  ];
}

function otherWords({ changed, to, kind }: OtherReport): string {
  const bytes = changed.length === 0 ? 'none' : changed.length === 8 ? 'all' : changed.join(', ');
  const what = kind === 'request' || kind === 'acknowledgement' ? `; ${kind}s` : '';
  return `${bytes}${to === null ? '' : `; to ${to}`}${what}`;
}
