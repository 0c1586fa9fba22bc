import { type TruckConfig, URGENCIES, type Urgency } from '../../config/resolved.js';
import { RULE_WORDS, URGENCY_NAMES } from '../alerts/words.js';
import type { Alert } from './compare-alerts.js';
import { beginOf, DIFFERENCES, type Difference, type Pair, worstOf } from './compare-match.js';
import { type Column, paragraph, table, wrap } from './survey-table.js';

/** One of the two configurations. */
export interface Side {
  /** null: as recorded. */
  file: string | null;
  config: TruckConfig;
  /** Alerts that there was no room to compare. */
  dropped: number;
}

export interface Compared {
  config: Side;
  with: Side;
  /** Seconds of traffic, and frames, that both have seen. */
  traffic: { s: number; frames: number };
  pairs: Pair[];
}

const HEADS: Record<Difference, string> = {
  'only-config': 'Only with A',
  'only-with': 'Only with B',
  urgency: 'Another urgency',
  earlier: 'Earlier with B',
  later: 'Later with B',
  pieces: 'In other pieces',
  end: 'Another end',
};

const COLUMNS: readonly Column[] = [{ title: 'first' }, { title: 'A' }, { title: 'B' }, { title: 'alert' }];

/** For people: what differs, each problem once under its foremost difference, and how many are alike. Lines. */
export function comparedText({ config: a, with: b, pairs }: Compared, columns: number): string[] {
  const nameOf = ({ file, config }: Side): string => `${file ?? 'as recorded'} (${config.hash})`;
  const lines = [
    ...paragraph(`A: ${nameOf(a)}`, columns, 3, 0),
    ...paragraph(`B: ${nameOf(b)}`, columns, 3, 0),
    ...[a, b].flatMap(({ dropped }, i) =>
      dropped === 0 ? [] : [`${dropped} alerts of ${i === 0 ? 'A' : 'B'} are too many to be compared.`],
    ),
  ];
  for (const what of DIFFERENCES) {
    const these = pairs.filter(({ differs }) => differs[0] === what);
    if (these.length === 0) continue;
    lines.push('', `${HEADS[what]} (${these.length})`, '');
    lines.push(...table(COLUMNS, these.map(rowOf), columns));
  }
  const alike = pairs.filter(({ differs }) => differs.length === 0).length;
  const verdict = alike === pairs.length ? 'No alert differs' : `${pairs.length - alike} differ`;
  return [...lines, '', ...wrap(`${verdict}, ${alike} ${alike === 1 ? 'is' : 'are'} alike.`, columns)];
}

function rowOf(pair: Pair): string[] {
  const urgency = (alerts: readonly Alert[]): string => (alerts.length === 0 ? '-' : URGENCY_NAMES[worstOf(alerts)]);
  const { config, with: other, place, rule } = pair;
  const more = differenceWords(pair);
  const what = `${place}: ${RULE_WORDS[rule]}`;
  // Date and time: recordings are often of several days.
  const first = beginOf(pair).at.slice(0, 19).replace('T', ' ');
  return [first, urgency(config), urgency(other), more === '' ? what : `${what}; ${more}`];
}

/** `12 min earlier, pull over 30 s later, in 2 pieces` */
function differenceWords(pair: Pair): string {
  const { config, with: other, beginsS, levelsS, endsS, differs } = pair;
  if (config.length === 0 || other.length === 0) return lastedWords([...config, ...other]);
  const words: string[] = [];
  if (beginsS !== 0) words.push(apart(beginsS!));
  for (const level of URGENCIES) {
    const s = levelsS[level];
    if (s !== undefined && s !== 0) words.push(`${URGENCY_NAMES[level]} ${apart(s)}`);
  }
  if (differs.includes('pieces')) words.push(`${piecesWords(config)} with A, ${piecesWords(other)} with B`);
  if (differs.includes('end')) words.push(endWords(config.at(-1)!, other.at(-1)!, endsS));
  return words.join(', ');
}

const piecesWords = (alerts: readonly Alert[]): string =>
  alerts.length === 1 ? 'one piece' : `${alerts.length} pieces`;

function endWords({ end: a }: Alert, { end: b }: Alert, endsS: number | null): string {
  if (a === null) return `${b!.how} with B alone`;
  if (b === null) return `${a.how} with A alone`;
  if (endsS === 0) return `${a.how} with A, ${b.how} with B`;
  return `over ${apart(endsS!)}`;
}

function lastedWords(alerts: readonly Alert[]): string {
  const { end } = alerts.at(-1)!;
  const pieces = alerts.length === 1 ? '' : `, ${piecesWords(alerts)}`;
  return end === null
    ? `open at the end${pieces}`
    : `${end.how} after ${duration(end.s - alerts[0]!.begin.s)}${pieces}`;
}

const apart = (s: number): string => `${duration(Math.abs(s))} ${s < 0 ? 'earlier' : 'later'}`;

/** `45 s`, `12 min`, `12 min 30 s`, `3 h 5 min` */
export function duration(s: number): string {
  const whole = Math.round(s);
  const two = (big: number, bigUnit: string, small: number, smallUnit: string): string =>
    small === 0 ? `${big} ${bigUnit}` : `${big} ${bigUnit} ${small} ${smallUnit}`;
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return two(Math.floor(whole / 60), 'min', whole % 60, 's');
  return two(Math.floor(whole / 3600), 'h', Math.floor((whole % 3600) / 60), 'min');
}

/** The public form, docs/compare.md. Keys stand in the order in which they are written. */
export function comparedJson({ config, with: other, traffic, pairs }: Compared): string {
  const sideOf = ({ file, config: { truck, hash }, dropped }: Side) => ({ file, truck, config: hash, dropped });
  const counts = Object.fromEntries(
    DIFFERENCES.map((what) => [what, pairs.filter(({ differs }) => differs.includes(what)).length]),
  );
  return JSON.stringify(
    {
      v: 1,
      config: sideOf(config),
      with: sideOf(other),
      trafficS: Math.round(traffic.s),
      frames: traffic.frames,
      alike: pairs.filter(({ differs }) => differs.length === 0).length,
      counts,
      alerts: pairs.filter(({ differs }) => differs.length > 0).map(pairJson),
    },
    null,
    2,
  );
}

function pairJson({ rule, subject, place, differs, beginsS, levelsS, endsS, config, with: other }: Pair) {
  return {
    ...{ rule, subject, place, differs, beginsS, levelsS, endsS },
    config: config.map(alertJson),
    with: other.map(alertJson),
  };
}

function alertJson({ urgency, begin, reached, end }: Alert) {
  const levels = Object.fromEntries(
    URGENCIES.flatMap((level: Urgency) => {
      const when = reached[level];
      return when === undefined ? [] : [[level, when.at] as const];
    }),
  );
  const ended = end === null ? null : { at: end.at, how: end.how, reason: end.reason };
  return { urgency, begins: begin.at, levels, ended };
}
