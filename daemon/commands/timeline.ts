import type { TruckConfig, Urgency } from '../../config/resolved.js';
import type { EventMessage } from '../alerts/message.js';
import { measuredWords, RULE_WORDS } from './words.js';

const BOLD = '\u001b[1m';
const DIM = '\u001b[2m';
const PLAIN = '\u001b[0m';
/** Colour by urgency, and always the word beside it. */
const INK: Record<Urgency, string> = { plan: '\u001b[36m', 'next-stop': '\u001b[33m', 'pull-over': '\u001b[31m' };
const ENDED = '\u001b[32m';

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
function wrapped(text: string, width: number, indent: number): string {
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

const LEFT = 33;

/** One event as a person reads it: when, how urgent, what changed, where and what, how much, what to do. */
export function timelineEntry(e: EventMessage, show: TruckConfig['show'], style: TimelineStyle): string {
  const ended = e.change === 'cleared' || e.change === 'closed';
  const ink = (code: string, text: string): string => (style.colour ? `${code}${text}${PLAIN}` : text);
  const urgency = ended ? '' : URGENCY_WORDS[e.urgency];
  const head = [
    e.at.slice(11, 19),
    ink(ended ? ENDED : `${BOLD}${INK[e.urgency]}`, urgency.padEnd(10)),
    ink(ended ? ENDED : '', CHANGE_WORDS[e.change].padEnd(11)),
  ].join(' ');
  const width = Math.max(30, style.columns - LEFT);
  const what = `${e.place}: ${RULE_WORDS[e.rule]}`;
  const measured = measuredWords(e.measured, show);
  const because = e.cause === null ? '' : `, explained by another alert`;
  const lines = [`${head} ${wrapped(what + because, width, LEFT)}`];
  const more = (text: string): void => {
    if (text !== '') lines.push(`${' '.repeat(LEFT)}${ink(DIM, wrapped(text, width, LEFT))}`);
  };
  more(measured);
  if (e.forecast !== null && !ended) {
    more(
      `reaches ${e.forecast.what} at ${e.forecast.at.slice(11, 16)}, between ${e.forecast.from.slice(11, 16)} and ${e.forecast.to.slice(11, 16)}`,
    );
  }
  if (e.change === 'raised' || e.change === 'worse' || e.change === 'reopened') more(`-> ${e.advice}`);
  return lines.join('\n');
}
