import type { ReceivedEvent, ReceivedOpen } from '../../../adapters/mqtt/messages.js';
import { URGENCIES } from '../../../config/resolved.js';
import { eventOf, idOf, type Listed, listedOf, openOf, S, stamp, T0 } from './messages.js';

/*
 * What one truck says in order, made up from a list of numbers, with the list of open alerts after each change as the truck itself
 * would have it. The second, naive reading of the contract: one change after the other, nothing out of order.
 */

export interface Naive extends Listed {
  at: string;
  note: string | null;
  advice: string;
  isOpen: boolean;
  wasReopened: boolean;
}

export interface TruckStory {
  events: ReceivedEvent[];
  /** Index: number of events told. Alerts by id, also ended ones. */
  truths: Map<string, Naive>[];
}

const SUBJECTS = ['tractor/2/left/outer', 'tractor/2/left/inner', 'tractor/3/right/outer'];
const PEOPLE = ['dispatch desk', 'night shift'];

export function storyFrom(choices: readonly number[]): TruckStory {
  const events: ReceivedEvent[] = [];
  const truths: Map<string, Naive>[] = [new Map()];
  for (const choice of choices) {
    const before = truths.at(-1)!;
    const subject = SUBJECTS[choice % SUBJECTS.length]!;
    const last = [...before.values()].findLast((a) => a.subject === subject);
    const options = optionsFor(last);
    const change = options[Math.floor(choice / 3) % options.length]!;
    const event = changeOf(events.length + 1, change, subject, last, choice);
    events.push(event);
    truths.push(new Map(before).set(event.alert, applied(last, event)));
  }
  return { events, truths };
}

function optionsFor(a: Naive | undefined): ReceivedEvent['change'][] {
  if (a === undefined) return ['raised'];
  if (!a.isOpen) return a.wasReopened ? ['raised'] : ['raised', 'reopened'];
  const all: (ReceivedEvent['change'] | false)[] = [
    a.urgency !== 'pull-over' && 'worse',
    a.urgency !== 'plan' && 'better',
    !a.unsure && 'unsure',
    (a.unsure || a.chattering) && 'sure',
    !a.chattering && 'chattering',
    'taken',
    a.urgency !== 'pull-over' && 'snoozed',
    a.snoozed !== undefined && 'resumed',
    'cleared',
    'closed',
  ];
  return all.filter((change) => change !== false);
}

function changeOf(
  seq: number,
  change: ReceivedEvent['change'],
  subject: string,
  last: Naive | undefined,
  choice: number,
): ReceivedEvent {
  const isNew = change === 'raised';
  const level = isNew ? choice % 3 : URGENCIES.indexOf(last!.urgency);
  const moved = change === 'worse' ? level + 1 : change === 'better' ? level - 1 : level;
  const byPerson = change === 'taken' || change === 'snoozed';
  return eventOf(seq, change, {
    alert: isNew ? idOf(seq) : last!.alert,
    subject,
    urgency: URGENCIES[moved]!,
    since: isNew ? stamp(T0 + seq * S) : last!.since,
    measured: { silentS: seq },
    ...(byPerson && { who: PEOPLE[choice % 2]! }),
    ...(byPerson && choice % 5 < 2 && { note: `note ${seq}` }),
    ...(change === 'snoozed' && { snoozeS: 3600 }),
  });
}

function applied(last: Naive | undefined, e: ReceivedEvent): Naive {
  const { alert, cause, rule, kind, subject, place, urgency, since, measured } = e;
  const isSame = last?.alert === alert;
  const isEnded = e.change === 'cleared' || e.change === 'closed';
  const a: Naive = {
    ...{ alert, cause, rule, kind, subject, place, urgency, since, measured },
    at: e.at,
    unsure: isSame && last.unsure,
    chattering: isSame && last.chattering,
    ...(isSame && last.taken && { taken: last.taken }),
    ...(isSame && last.snoozed && { snoozed: last.snoozed }),
    note: e.note ?? (isSame ? last.note : null),
    advice: e.advice,
    isOpen: !isEnded,
    wasReopened: e.change === 'reopened' || (isSame && last.wasReopened),
  };
  if (e.change === 'unsure') a.unsure = true;
  if (e.change === 'sure') {
    if (a.unsure) a.unsure = false;
    else a.chattering = false;
  }
  if (e.change === 'chattering') a.chattering = true;
  if (e.change === 'better') a.chattering = false;
  if (e.change === 'taken') a.taken = { who: e.who!, at: e.at };
  if (e.change === 'snoozed') a.snoozed = { who: e.who!, until: stamp(Date.parse(e.at) + e.snoozeS! * S) };
  if (['worse', 'resumed', 'reopened'].includes(e.change) || isEnded) delete a.snoozed;
  if (isEnded || e.change === 'reopened') Object.assign(a, { unsure: false, chattering: false });
  return a;
}

const ORDER = { 'pull-over': 0, 'next-stop': 1, plan: 2 };

export const openIn = (truth: ReadonlyMap<string, Naive>): Naive[] =>
  [...truth.values()]
    .filter((a) => a.isOpen)
    .sort((a, b) => ORDER[a.urgency] - ORDER[b.urgency] || (a.since < b.since ? -1 : 1));

/** The list as the truck publishes it when it has told so many events. */
export const openAfter = (story: TruckStory, asOf: number): ReceivedOpen =>
  openOf(
    asOf,
    openIn(story.truths[asOf]!).map(({ at: _at, note: _note, advice: _advice, isOpen: _o, wasReopened: _r, ...a }) =>
      listedOf(a),
    ),
  );
