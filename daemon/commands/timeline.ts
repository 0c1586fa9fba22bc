import type { TruckConfig, Urgency } from '../../config/resolved.js';
import type { EventMessage } from '../alerts/message.js';
import { measuredWords, RULE_WORDS } from '../alerts/words.js';

const BOLD = '\u001b[1m';
const DIM = '\u001b[2m';
const PLAIN = '\u001b[0m';
/** Colour by urgency, and always the word beside it. */
const INK: Record<Urgency, string> = { plan: '\u001b[36m', 'next-stop': '\u001b[33m', 'pull-over': '\u001b[31m' };
const ENDED = '\u001b[32m';
const HOUR_MS = 3_600_000;

const URGENCY_WORDS: Record<Urgency, string> = {
  plan: 'PLAN',
  'next-stop': 'NEXT STOP',
  'pull-over': 'PULL OVER',
};

const CHANGE_WORDS: Record<EventMessage['change'], string> = {
  raised: 'new',
  worse: 'worse',
  better: 'better',
  unsure: 'unsure',
  sure: 'sure again',
  chattering: 'to and fro',
  taken: 'taken',
  snoozed: 'snoozed',
  resumed: 'resumed',
  reopened: 'back again',
  cleared: 'cleared',
  closed: 'closed',
};

export interface TimelineStyle {
  colour: boolean;
  columns: number;
}

/** Breaks text at spaces into lines of at most `width`, each after the first behind `indent` spaces. */
export function wrapped(text: string, width: number, indent: number): string {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else {
      line = line === '' ? word : `${line} ${word}`;
    }
  }
  lines.push(line);
  return lines.join(`\n${' '.repeat(indent)}`);
}

const URGENCY_COLUMNS = 10;
const CHANGE_COLUMNS = 11;
/** `hh:mm:ss URGENCY    CHANGE      ` */
const LEFT = 8 + 1 + URGENCY_COLUMNS + 1 + CHANGE_COLUMNS + 1;
/** Below so many columns the text stands under its head, not beside it. */
const NARROW = 80;
const NARROW_LEFT = 2;
/** Also on the narrowest terminal. */
const LEAST_WIDTH = 30;

/** One event as a person reads it: when, how urgent, what changed, where and what, how much, what to do. */
export function timelineEntry(e: EventMessage, show: TruckConfig['show'], style: TimelineStyle): string {
  const ended = e.change === 'cleared' || e.change === 'closed';
  const head = {
    time: e.at.slice(11, 19),
    word: ended ? '' : URGENCY_WORDS[e.urgency],
    wordInk: ended ? ENDED : `${BOLD}${INK[e.urgency]}`,
    change: CHANGE_WORDS[e.change],
    changeInk: ended ? ENDED : '',
  };
  return timelineBlock(head, textsOf(e, show, ended), style);
}

/** What stands left of, or above, the texts of an entry. */
export interface TimelineHead {
  time: string;
  word: string;
  wordInk?: string;
  change: string;
  changeInk?: string;
}

/** One entry: its head, and texts of which each begins on a line of its own. */
export function timelineBlock(of: TimelineHead, texts: readonly string[], style: TimelineStyle): string {
  const ink = (code: string, text: string): string => (style.colour ? `${code}${text}${PLAIN}` : text);
  const narrow = style.columns < NARROW;
  const left = narrow ? NARROW_LEFT : LEFT;
  const width = Math.max(LEAST_WIDTH, style.columns - left);
  const head = [
    of.time,
    ink(of.wordInk ?? BOLD, of.word.padEnd(URGENCY_COLUMNS)),
    ink(of.changeInk ?? '', of.change.padEnd(narrow ? 0 : CHANGE_COLUMNS)),
  ].join(' ');
  const [what, ...more] = texts.map((text) => wrapped(text, width, left));
  const margin = ' '.repeat(left);
  const first = narrow ? `${head}\n${margin}${what}` : `${head} ${what}`;
  return [first, ...more.map((text) => `${margin}${ink(DIM, text)}`)].join('\n');
}

/** What and where, how much, what is to come, what to do: each on lines of its own. */
function textsOf(e: EventMessage, show: TruckConfig['show'], ended: boolean): string[] {
  const because = e.cause === null ? '' : ', explained by another alert';
  const texts = [`${e.place}: ${RULE_WORDS[e.rule]}${because}`];
  const measured = measuredWords(e.measured, show, ended);
  if (measured !== '') texts.push(measured);
  if (e.forecast !== null && !ended) texts.push(forecastWords(e.forecast, e.at));
  if (e.change === 'raised' || e.change === 'worse' || e.change === 'reopened') texts.push(`-> ${e.advice}`);
  return texts;
}

/** The time of day is enough for what comes within the day, the date for what takes days. */
function forecastWords({ what, at, from, to }: NonNullable<EventMessage['forecast']>, now: string): string {
  const isSoon = Date.parse(to) - Date.parse(now) <= 20 * HOUR_MS;
  const [most, early, late] = [at, from, to].map((time) => (isSoon ? time.slice(11, 16) : time.slice(0, 10)));
  if (early === late) return `reaches ${what} about ${most}`;
  return `reaches ${what} ${isSoon ? 'at' : 'on'} ${most}, between ${early} and ${late}`;
}
