import { type DifferenceStyle, differenceText, foundWords, MOST_COLUMNS } from './expect-print.js';
import { type Judged, STATES, type State } from './shifts-judge.js';
import { type Column, table } from './survey-table.js';

const PLAIN = '\u001b[0m';
const BOLD = '\u001b[1m';
const INK: Partial<Record<State, string>> = {
  ...{ same: '\u001b[32m', blessed: '\u001b[32m' },
  ...{ differs: '\u001b[31m', new: '\u001b[33m', broken: '\u001b[31m' },
};

/** Of what belongs to a shift, under its name. */
const INDENT = 2;

/** As a column of the table has it. */
const SHORT: Record<State, string> = {
  ...{ same: 'ok', blessed: 'blessed' },
  ...{ differs: 'DIFFERS', new: 'new', broken: 'BROKEN' },
};

export const STATE_WORDS: Record<State, string> = {
  same: 'as expected',
  blessed: 'expected from now on',
  differs: 'not as expected',
  new: 'not expected yet; --bless makes it',
  broken: 'could not be run',
};

/** What there is to say of one shift beyond its row in the table: a head, and under it what differs or went wrong. Lines. */
export function shiftText(judged: Judged, style: DifferenceStyle): string[] {
  const { shift, state, compared } = judged;
  const about = detail(judged, { ...style, columns: Math.min(style.columns, MOST_COLUMNS) - INDENT });
  const silent = about.length === 0 && (state === 'same' || state === 'blessed');
  if (silent) return [];
  const found = compared === null ? '' : ` (${foundWords(compared)})`;
  const head = `${shift.label}: ${STATE_WORDS[state]}${found}`;
  return [style.colour ? `${BOLD}${head}${PLAIN}` : head, ...about.map((line) => `${' '.repeat(INDENT)}${line}`)];
}

/** What differs, or why it could not be run. Lines. */
export function detail({ compared, problem }: Judged, style: DifferenceStyle): string[] {
  if (problem !== null) return problem.split('\n');
  return compared === null ? [] : differenceText(compared, style);
}

const COLUMNS: readonly Column[] = [
  { title: '' },
  ...['events', 'missing', 'extra', 'moved', 'urgency', 'numbers', 'seconds'].map((title) => ({ title, right: true })),
  { title: 'shift' },
];

/** One row for each shift, then how many are how. Lines. */
export function summaryText(all: readonly Judged[], { colour }: { colour: boolean }): string[] {
  // Names are not broken.
  const [titles, ...rows] = table(COLUMNS, all.map(rowOf), Number.POSITIVE_INFINITY);
  const inked = rows.map((row, i) => {
    const { state } = all[i]!;
    const word = SHORT[state];
    return colour ? `${INK[state]}${word}${PLAIN}${row.slice(word.length)}` : row;
  });
  return [titles!, ...inked, '', verdict(all)];
}

function rowOf({ shift, state, compared, events, seconds }: Judged): string[] {
  const { missing, extra, moved, urgency, numbers } = compared?.counts ?? {};
  const counts = [events, missing, extra, moved, urgency, numbers].map((n) => (n ?? '-').toString());
  return [SHORT[state], ...counts, seconds.toFixed(1), shift.label];
}

/** `4 shifts: 2 as expected, 1 not as expected, 1 could not be run` */
export function verdict(all: readonly Judged[]): string {
  const counted = STATES.map((state) => [all.filter((one) => one.state === state).length, state] as const);
  const told = counted.filter(([n]) => n > 0).map(([n, state]) => `${n} ${STATE_WORDS[state]}`);
  return `${all.length} ${all.length === 1 ? 'shift' : 'shifts'}: ${told.join(', ')}`;
}
