import { strokeLimit } from '../../config/chambers.js';
import { URGENCIES } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Words } from '../data.js';
import type { Gathered, GatheredEvent } from '../gathered.js';
import type { BrakeApplication } from './brake-applications.js';
import {
  type CountingRule,
  chamberOf,
  countOf,
  limitOf,
  otherSide,
  type Result,
  resultsOf,
  type Way,
} from './brake-results.js';
import { atS, counted, showOf } from './kit.js';
import type { GatheredAlert } from './picture.js';

/** What a rule looks for in an application. */
const HOLDING: Record<CountingRule, Record<Way, string>> = {
  'brake-overstroke': { state: 'over-stroke', stroke: 'a stroke beyond the legal limit' },
  'brake-not-applying': { state: 'non-functioning', stroke: 'a rod that did not move' },
  'brake-stroke-uneven': { state: 'uneven strokes', stroke: 'a stroke well beyond that of the other side' },
};

export const holdingWords = (rule: CountingRule, way: Way): string => HOLDING[rule][way];

/** By which an event was judged. */
export const wayOf = ({ draft }: GatheredEvent): Way =>
  draft.measured !== null && 'code' in draft.measured ? 'state' : 'stroke';

const RISES = ['raised', 'reopened', 'worse'];

/** The rise that began the alert and the first one to its worst, where they are not the same. */
export function risesOf({ events }: GatheredAlert): GatheredEvent[] {
  const rises = events.filter(({ draft }) => RISES.includes(draft.change));
  const first = rises[0] ?? events[0];
  if (first === undefined) return [];
  const rank = ({ draft }: GatheredEvent): number => URGENCIES.indexOf(draft.urgency);
  const worst = rises.reduce((a, b) => (rank(b) > rank(a) ? b : a), first);
  return worst === first ? [first] : [first, worst];
}

/** What was counted at the rises of an alert, and in all. */
export function countedWords(gathered: Gathered, alert: GatheredAlert, rule: CountingRule): Words[] {
  const words: Words[] = [];
  for (const event of risesOf(alert)) {
    const way = wayOf(event);
    const results = resultsOf(gathered, rule, alert.subject, way).filter(
      ({ application }) => application.endMs <= event.atMs,
    );
    words.push(...countWords(gathered, event, rule, results.slice(-countOf(alert.criteria, rule, way).m)));
    if (way === 'stroke' && rule === 'brake-overstroke') words.push(...limitWords(gathered, alert.subject, results));
  }
  const first = alert.events[0];
  if (first !== undefined) words.push(...wholeWords(gathered, alert.subject, rule, wayOf(first)));
  return unlike(words);
}

/** "Over-stroke in 2 of the last 3 applications that count: at … (35 psi) and at … (31 psi), not at … (40 psi)." */
function countWords(gathered: Gathered, event: GatheredEvent, rule: CountingRule, last: readonly Result[]): Words[] {
  if (last.length === 0) return [];
  const what = HOLDING[rule][wayOf(event)];
  const holding = last.filter(({ holds }) => holds);
  const good = last.filter(({ holds }) => !holds);
  const isOne = last.length === 1;
  const these = isOne
    ? 'the one application that counts'
    : `the last ${counted(last.length, 'application')} that count`;
  if (holding.length === 0) {
    const show = isOne ? 'does not show' : 'do not show';
    return [[`Of what was kept, ${these} ${show} ${what}: `, ...instants(gathered, rule, good), '.']];
  }
  const inCases = isOne ? '' : ` in ${good.length === 0 ? 'all' : counted(holding.length, 'case')}`;
  const words: Words = [
    `When it ${event.draft.change === 'worse' ? 'got worse' : 'was raised'}, ${these} showed `,
    `${what}${inCases}: `,
    ...instants(gathered, rule, holding),
  ];
  if (good.length > 0) words.push('; not ', ...instants(gathered, rule, good));
  return [[...words, '.']];
}

function instants(gathered: Gathered, rule: CountingRule, results: readonly Result[]): Words {
  return results.flatMap((result, i): Words => {
    const before = i === 0 ? 'at ' : i === results.length - 1 ? ' and at ' : ', at ';
    return [before, { atS: atS(gathered, result.application.startMs) }, ` (${detail(gathered, rule, result)})`];
  });
}

/** "35 psi, 2.26 in". */
function detail(gathered: Gathered, rule: CountingRule, { application, strokeMm, readings }: Result): string {
  const show = showOf(gathered);
  const parts = [pressureWords(gathered, application)];
  const beyond = rule === 'brake-stroke-uneven' ? ' more' : '';
  if (strokeMm !== null) parts.push(`${shown(strokeMm, 'mm', show)}${beyond}`);
  if (readings !== null && readings.saying > 0) parts.push(`${readings.saying} of ${readings.told} readings`);
  return parts.join(', ');
}

export function pressureWords(gathered: Gathered, { values }: BrakeApplication): string {
  const seconds = `${Math.round(values.durationS * 10) / 10} s`;
  return values.peakKpa === null ? seconds : `${shown(values.peakKpa, 'kPa', showOf(gathered))}, ${seconds}`;
}

/** The stroke against the limit of the chamber, and who says so. */
function limitWords(gathered: Gathered, subject: string, results: readonly Result[]): Words[] {
  const chamber = chamberOf(gathered, subject);
  const last = results.findLast(({ holds }) => holds);
  if (chamber === null || last === undefined || last.strokeMm === null) return [];
  const show = showOf(gathered);
  const { basis } = strokeLimit(chamber);
  const rated = chamber.ratedStrokeMm === null ? '' : `, rated stroke ${shown(chamber.ratedStrokeMm, 'mm', show)}`;
  return [
    [
      `A chamber of type ${chamber.type}${rated} may move by ${shown(limitOf(gathered, subject), 'mm', show)}, and more is a violation (${basis}); at `,
      { atS: atS(gathered, last.application.startMs) },
      ` it moved by ${shown(last.strokeMm, 'mm', show)} within the pressures at which strokes are judged.`,
    ],
  ];
}

/** Over all that was gathered, with the other side of the axle beside it. */
function wholeWords(gathered: Gathered, subject: string, rule: CountingRule, way: Way): Words[] {
  const results = resultsOf(gathered, rule, subject, way);
  if (results.length === 0) return [['None of the applications that were kept tells of this brake.']];
  const [own, other] = [results, resultsOf(gathered, rule, otherSide(subject), way)].map(
    (list) => `${list.filter(({ holds }) => holds).length} of ${list.length}`,
  );
  const what = HOLDING[rule][way];
  const beside = rule === 'brake-stroke-uneven' ? '' : `; ${placeOf(otherSide(subject))}: ${other}`;
  return [[`In all of these data: ${what} in ${own} applications that count${beside}.`]];
}

function unlike(words: readonly Words[]): Words[] {
  const texts = new Set<string>();
  return words.filter((w) => {
    const text = JSON.stringify(w);
    if (texts.has(text)) return false;
    texts.add(text);
    return true;
  });
}
