import { type Criterion, type RuleName, type TruckConfig, URGENCIES } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import type { Measured } from '../../daemon/alerts/event.js';
import { ruleNamed } from '../../daemon/alerts/rules.js';
import { RULE_WORDS } from '../../daemon/alerts/words.js';
import type { Judged } from '../data.js';
import type { GatheredEvent } from '../gathered.js';
import type { GatheredAlert } from '../story/picture.js';
import { exact, exactConstant, lasting } from './exact.js';
import { AIR_WAYS } from './judged-air.js';
import { BRAKE_WAYS } from './judged-brakes.js';
import { BUS_WAYS } from './judged-bus.js';
import { TIRE_WAYS } from './judged-tires.js';
import type { Numbers, Way, Ways } from './way.js';

type Show = TruckConfig['show'];

/** Each criterion of each rule in words. */
export const WAYS: Record<RuleName, Ways> = { ...TIRE_WAYS, ...BRAKE_WAYS, ...AIR_WAYS, ...BUS_WAYS };

const NO_FILE = 'not known without the truck file';

/**
 * What judged an alert: every limit of its rule, in the units of the truck file, in the order of the configuration. `held` are
 * those that its events tell of, and those that hold with them. Without criteria (a database alone) what the events say.
 */
export function judgedOf(alert: GatheredAlert, show: Show): Judged[] {
  const events = alert.events.filter(({ draft }) => draft.change !== 'cleared' && draft.change !== 'closed');
  const criteria = Object.entries(alert.criteria);
  if (criteria.length === 0) return events.length === 0 ? [] : byEvents(alert.rule, events, show);
  const told = new Map<string, GatheredEvent>();
  for (const event of events) for (const name of namesOf(alert, event)) told.set(name, event);
  const held = new Set([...told.keys()].flatMap((name) => [name, ...(WAYS[alert.rule][name]?.implies ?? [])]));
  return criteria.map(([name, criterion]) => {
    const event = told.get(name);
    const words = inWords(alert, name, criterion, event?.draft.measured ?? null, show);
    const basis = event?.draft.basis.startsWith(criterion.basis) ? event.draft.basis : criterion.basis;
    return { name, urgency: criterion.urgency, ...words, basis, held: held.has(name) };
  });
}

/** Which criteria an event tells of: those of its urgency that fit what was measured, whose basis it has, and whose limit. */
function namesOf({ rule, criteria }: GatheredAlert, { draft }: GatheredEvent): string[] {
  const { measured, basis, urgency } = draft;
  const of = Object.entries(criteria).filter(([, c]) => c.urgency === urgency);
  const narrowed = [
    ([name]: [string, Criterion]) => measured === null || (WAYS[rule][name]?.fits?.(measured) ?? true),
    ([, c]: [string, Criterion]) => basis === c.basis,
    ([, c]: [string, Criterion]) => basis.startsWith(`${c.basis};`),
    ([, c]: [string, Criterion]) => c.raise !== null && limitIn(measured) === c.raise,
  ].reduce((left, fits) => {
    const fitting = left.filter(fits);
    return fitting.length === 0 ? left : fitting;
  }, of);
  return narrowed.length < of.length || of.length === 1
    ? narrowed.map(([name]) => name)
    : of.map(([name]) => name).filter((name) => name === urgency);
}

const limitIn = (m: Measured | null): number | null => (m !== null && 'limit' in m ? (m.limit ?? null) : null);

function inWords(
  { rule, criteria, constants, events }: GatheredAlert,
  name: string,
  criterion: Criterion,
  measured: Measured | null,
  show: Show,
): Pick<Judged, 'raise' | 'clear'> {
  const way = WAYS[rule][name];
  if (way === undefined) return { raise: RULE_WORDS[rule], clear: 'as the rule says' };
  const target = way.limitIs === 'target' ? targetOf(events, criteria) : null;
  const { raise, clear } = limitsOf(way, criterion, limitIn(measured));
  const number = (value: number | null): string => {
    if (value === null || way.unit === null) return '';
    const words = exact(value, way.unit, show);
    return target === null ? words : `${words} (${shown(value * target, 'kPa', show)} here)`;
  };
  const constant = (of: string, factor: number): string => {
    const value = constants[of];
    return value === undefined ? 'a set value' : exactConstant(of, value * factor, show);
  };
  const numbers: Numbers = {
    raise: number(raise),
    clear: number(clear),
    k: (of) => constant(of, 1),
    times: constant,
    told: (factor = 1) => {
      const limit = limitIn(measured);
      return measured === null || limit === null || !('unit' in measured)
        ? null
        : shown(limit * factor, measured.unit, show).replace(/\.0+ /, ' ');
    },
  };
  return {
    raise: `${joined(way.raise(numbers), raiseDelay(way, criterion))}${way.note?.(numbers) ?? ''}`,
    clear: clearWords(way, criterion, way.clear(numbers)),
  };
}

/** A limit that events tell in its place: of a bus, of reservoirs. */
function limitsOf(way: Way, c: Criterion, told: number | null): Pick<Criterion, 'raise' | 'clear'> {
  if (c.raise === null || c.clear === null || told === null) return c;
  if (way.limitIs === 'instead') return { raise: told, clear: told + (c.clear - c.raise) };
  return way.limitIs === 'ratio' ? { raise: told, clear: (told * c.clear) / c.raise } : c;
}

/** Of which the limits are shares, kPa; null: no event has told it. */
function targetOf(events: readonly GatheredEvent[], criteria: GatheredAlert['criteria']): number | null {
  for (const { draft } of events) {
    const raise = criteria[draft.urgency]?.raise ?? null;
    const limit = limitIn(draft.measured);
    if (draft.change !== 'cleared' && draft.change !== 'closed' && raise !== null && limit !== null)
      return limit / raise;
  }
  return null;
}

const joined = (words: string, delay: string): string => (delay === '' ? words : `${words}, ${delay}`);

const several = (n: number, word: string): string => (n === 1 ? `one ${word}` : `${n} ${word}s`);

function raiseDelay(way: Way, { of, raiseAfterS }: Criterion): string {
  if (of !== null) {
    if (of.m === 1) return '';
    const word = way.counts ?? 'reading';
    return of.n === of.m ? `${several(of.n, word)} in a row` : `in ${of.n} of the last ${several(of.m, word)}`;
  }
  if (raiseAfterS === 0 || way.isVerdict) return '';
  const time = lasting(raiseAfterS);
  return way.raiseDelay?.(time) ?? `for ${time}`;
}

function clearWords(way: Way, { of, clear, clearAfterS }: Criterion, words: string): string {
  const word = way.counts ?? 'reading';
  if (of !== null && way.endsAfter !== undefined) return joined(words, `${several(of[way.endsAfter], word)} in a row`);
  if (of !== null && clear === null && clearAfterS === 0)
    return of.m === 1 ? `not so at the next ${word}` : `none of the last ${several(of.m, word)}`;
  if (clearAfterS === 0 || way.isVerdict) return words;
  const time = lasting(clearAfterS);
  return joined(words, way.clearDelay?.(time) ?? `for ${time}`);
}

/** One for each urgency that was reached, by the first event that tells a limit; else by the first one. */
function byEvents(rule: RuleName, events: readonly GatheredEvent[], show: Show): Judged[] {
  return URGENCIES.flatMap((urgency) => {
    const reached = events.filter(({ draft }) => draft.urgency === urgency);
    const event = reached.find(({ draft }) => limitIn(draft.measured) !== null) ?? reached[0];
    if (event === undefined) return [];
    const { basis, measured } = event.draft;
    const raise = measuredLimit(rule, measured, show);
    return [{ name: urgency, urgency, raise, clear: NO_FILE, basis, held: true }];
  });
}

const BEYOND = { low: ' at or below', high: ' at or above', state: ', limit' } as const;

function measuredLimit(rule: RuleName, m: Measured | null, show: Show): string {
  if (m === null) return RULE_WORDS[rule];
  if ('silentS' in m) return `${RULE_WORDS[rule]}; how long it may be is ${NO_FILE}`;
  if ('code' in m) return m.of === undefined ? m.text : `${m.text}, in ${m.of} applications`;
  if (m.limit === undefined) return `${m.quantity}; its limit is ${NO_FILE}`;
  return `${m.quantity}${BEYOND[ruleNamed(rule)?.limit ?? 'state']} ${shown(m.limit, m.unit, show)}`;
}
