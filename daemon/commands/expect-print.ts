import type { RuleName, Urgency } from '../../config/resolved.js';
import { RULE_WORDS, URGENCY_NAMES } from '../alerts/words.js';
import type { StreamMs } from '../time.js';
import { placeOf } from '../truck/subjects.js';
import { clockOf } from './expect.js';
import { type Comparison, type Difference, KINDS, type Kind } from './expect-compare.js';
import { paragraph } from './survey-table.js';

/** How differences are written for people. */
export interface DifferenceStyle {
  /** Never alone: the kind stands beside it. */
  colour: boolean;
  columns: number;
  /** false: of each kind only the first SHOWN, and how many more there are. */
  all: boolean;
}

/** So many of one kind are read by somebody; the rest are counted. */
export const SHOWN = 20;
/** Also on a wide terminal. */
export const MOST_COLUMNS = 80;
const LEAST_COLUMNS = 40;

const PLAIN = '\u001b[0m';
const BOLD = '\u001b[1m';
const INK: Record<Kind, string> = {
  ...{ missing: '\u001b[31m', extra: '\u001b[31m' },
  ...{ moved: '\u001b[33m', urgency: '\u001b[33m', numbers: '\u001b[36m' },
};
/** What was matched, then what could not be. */
const LATER: Record<Kind, number> = { moved: 0, urgency: 0, numbers: 0, missing: 1, extra: 1 };

/** Differences under the alert that they belong to, one line each. Lines; none where nothing differs. */
export function differenceText({ differences }: Comparison, style: DifferenceStyle): string[] {
  const left: Record<Kind, number> = { missing: 0, extra: 0, moved: 0, urgency: 0, numbers: 0 };
  const shown = style.all ? differences : differences.filter(({ kind }) => ++left[kind] <= SHOWN);
  const alerts = new Map<string, Difference[]>();
  for (const one of shown) {
    const head = headOf(one);
    const list = alerts.get(head);
    if (list === undefined) alerts.set(head, [one]);
    else list.push(one);
  }
  const runs = differences.some(({ run }) => run > 1);
  const lines = [...alerts].flatMap(([head, list]) => [
    style.colour ? `${BOLD}${head}${PLAIN}` : head,
    ...list.sort((a, b) => LATER[a.kind] - LATER[b.kind]).flatMap((one) => lineOf(one, runs, style)),
  ]);
  const more = KINDS.filter((kind) => left[kind] > SHOWN).map((kind) => `${left[kind] - SHOWN} ${KIND_WORDS[kind]}`);
  return more.length === 0 ? lines : [...lines, `and ${more.join(', ')} more; --all-differences shows them`];
}

const KIND_WORDS: Record<Kind, string> = {
  ...{ missing: 'missing', extra: 'extra', moved: 'moved' },
  ...{ urgency: 'of other urgency', numbers: 'with other numbers' },
};

/** `1 missing, 0 extra, 2 moved, 0 of other urgency, 3 with other numbers` */
export function countWords({ counts }: Comparison): string {
  return KINDS.map((kind) => `${counts[kind]} ${KIND_WORDS[kind]}`).join(', ');
}

/** Only what there is: `1 missing, 2 moved` */
export function foundWords({ counts }: Comparison): string {
  const found = KINDS.filter((kind) => counts[kind] > 0);
  return found.length === 0 ? 'no difference' : found.map((kind) => `${counts[kind]} ${KIND_WORDS[kind]}`).join(', ');
}

const headOf = ({ rule, subject }: Difference): string =>
  `${placeOf(subject)}: ${RULE_WORDS[rule as RuleName] ?? rule}`;

const urgencyName = (urgency: string): string => URGENCY_NAMES[urgency as Urgency] ?? urgency;

function lineOf(one: Difference, runs: boolean, { colour, columns }: DifferenceStyle): string[] {
  const { kind, at, run, change, urgency } = one;
  const time = `${runs ? `run ${run} ` : ''}${clockOf(at).padStart(8)}`;
  const left = `  ${kind.padEnd(7)}  ${time}  `;
  const what = moreOf(one);
  const text = `${change}, ${urgencyName(urgency)}${what === '' ? '' : `: ${what}`}`;
  const width = Math.max(LEAST_COLUMNS, Math.min(columns, MOST_COLUMNS));
  const [first, ...rest] = paragraph(text, width, left.length, 0);
  const ink = colour ? `  ${INK[kind]}${kind}${PLAIN}${left.slice(2 + kind.length)}` : left;
  return [`${ink}${first}`, ...rest];
}

function moreOf({ kind, at, expected, numbers }: Difference): string {
  if (expected === null) return '';
  const moved = at === expected.at ? '' : `by ${span(at - expected.at)} from ${clockOf(expected.at)}`;
  if (kind === 'moved') return moved;
  if (kind === 'numbers') return numbers!;
  return `expected ${urgencyName(expected.urgency)}${moved === '' ? '' : `; ${moved}`}`;
}

/** `+12 s`, `-4 min 12 s`, `+1 h 2 min`. */
function span(ms: StreamMs): string {
  const sign = ms < 0 ? '-' : '+';
  const s = Math.abs(ms) / 1000;
  const whole = Math.floor(s);
  if (whole < 120) return `${sign}${Number(s.toFixed(3))} s`;
  if (whole < 3600) return `${sign}${Math.floor(whole / 60)} min ${whole % 60} s`;
  return `${sign}${Math.floor(whole / 3600)} h ${Math.floor(whole / 60) % 60} min`;
}
