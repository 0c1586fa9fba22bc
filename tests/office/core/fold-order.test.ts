import { describe, expect, it } from 'vitest';
import { openSchema } from '../../../adapters/mqtt/messages.js';
import { fold } from '../../../office/core/fold.js';
import { type Incoming, newTruckState, type TruckState } from '../../../office/core/model.js';
import fc from '../../support/property.js';
import { KEY, RULES, T0 } from './messages.js';
import { type Naive, openAfter, openIn, storyFrom, type TruckStory } from './truck-story.js';

/** In batches of these sizes. */
function folded(messages: readonly Incoming[], sizes: readonly number[]): TruckState {
  let state = newTruckState();
  let i = 0;
  for (let batch = 0; i < messages.length; batch++) {
    const size = 1 + ((sizes[batch % Math.max(1, sizes.length)] ?? 0) % 5);
    state = fold(KEY, state, messages.slice(i, i + size), RULES, T0).state;
    i += size;
  }
  return state;
}

/** What must not depend on the order. */
const seen = (state: TruckState) =>
  state.alerts
    .map((a) => ({
      id: a.id,
      urgency: a.urgency,
      since: a.since,
      unsure: a.unsure,
      chattering: a.chattering,
      taken: a.taken,
      snoozed: a.snoozed,
      measured: a.measured,
      advice: a.advice,
      note: a.note,
    }))
    .sort((a, b) => (a.id < b.id ? -1 : 1));

const expected = (truth: ReadonlyMap<string, Naive>) =>
  openIn(truth)
    .map((a) => ({
      id: a.alert,
      urgency: a.urgency,
      since: a.since,
      unsure: a.unsure,
      chattering: a.chattering,
      taken: a.taken ?? null,
      snoozed: a.snoozed ?? null,
      measured: a.measured,
      advice: a.advice,
      note: a.note,
    }))
    .sort((a, b) => (a.id < b.id ? -1 : 1));

/**
 * Nobody keeps who had an alert while it is over and a list without it has come; the next list tells it again. So of alerts that came
 * back these two are left out.
 */
function comparable<T extends { id: string }>(alerts: T[], story: TruckStory): unknown[] {
  const truth = story.truths.at(-1)!;
  return alerts.map((a) => (truth.get(a.id)?.wasReopened ? { ...a, taken: '', note: '' } : a));
}

const events = (story: TruckStory): Incoming[] =>
  story.events.map((message) => ({ kind: 'event', receivedMs: T0, message }));
const opens = (story: TruckStory, at: readonly number[]): Incoming[] =>
  at.map((n) => ({ kind: 'open', receivedMs: T0, message: openAfter(story, n % story.truths.length) }));

const choices = fc.array(fc.nat(10_000), { minLength: 1, maxLength: 22 });
const sizes = fc.array(fc.nat(4), { maxLength: 6 });
const openAts = fc.array(fc.nat(30), { maxLength: 5 });

const sorted = (messages: readonly Incoming[], keys: readonly number[]): Incoming[] =>
  messages
    .map((message, i) => ({ message, key: keys[i % Math.max(1, keys.length)] ?? 0, i }))
    .sort((a, b) => a.key - b.key || a.i - b.i)
    .map(({ message }) => message);

describe('messages of one truck', () => {
  it('in order and without a list give what the truck has', () => {
    fc.assert(
      fc.property(choices, sizes, (numbers, batches) => {
        const story = storyFrom(numbers);
        expect(seen(folded(events(story), batches))).toEqual(expected(story.truths.at(-1)!));
      }),
      { numRuns: 150 },
    );
  });

  it('in whatever order, repeated, with lists of whatever age in between, give the same', () => {
    const keys = fc.array(fc.nat(1_000), { minLength: 60, maxLength: 60 });
    fc.assert(
      fc.property(
        choices,
        openAts,
        keys,
        fc.array(fc.nat(21), { maxLength: 6 }),
        sizes,
        (numbers, at, order, twice, b) => {
          const story = storyFrom(numbers);
          const own = events(story);
          const again = twice.map((i) => own[i % own.length]!);
          const state = folded(sorted([...own, ...opens(story, at), ...again], order), b);
          const truth = expected(story.truths.at(-1)!);
          expect(comparable(seen(state), story)).toEqual(comparable(truth, story));
        },
      ),
      { numRuns: 600 },
    );
  });

  it('a list alone gives all but what only events tell; the events before it then tell that and no more', () => {
    fc.assert(
      fc.property(choices, fc.array(fc.nat(1_000), { minLength: 30, maxLength: 30 }), (numbers, order) => {
        const story = storyFrom(numbers);
        const last = story.events.length;
        const state = folded([...opens(story, [last]), ...sorted(events(story), order)], [0]);
        expect(seen(state)).toEqual(expected(story.truths[last]!));
        expect(state.stories).toEqual([]);
      }),
      { numRuns: 150 },
    );
  });

  it('the lists that the tests make up are ones that a truck may send', () => {
    fc.assert(
      fc.property(choices, (numbers) => {
        const story = storyFrom(numbers);
        for (const n of story.truths.keys()) openSchema.parse(openAfter(story, n));
      }),
      { numRuns: 20 },
    );
  });
});

describe('one story in each of its orders', () => {
  const story = storyFrom([0, 0, 15, 6, 21]);

  function* permutations<T>(list: readonly T[]): Generator<T[]> {
    if (list.length === 0) yield [];
    for (const [i, first] of list.entries()) {
      for (const rest of permutations([...list.slice(0, i), ...list.slice(i + 1)])) yield [first, ...rest];
    }
  }

  it('ends in the same state', () => {
    expect(story.events.map(({ change }) => change)).toEqual(['raised', 'worse', 'snoozed', 'unsure', 'cleared']);
    const messages = [...events(story), ...opens(story, [3])];
    let orders = 0;
    for (const order of permutations(messages)) {
      orders++;
      expect(folded(order, [0]).alerts).toEqual([]);
    }
    expect(orders).toBe(720);
  });

  it('and so it does one event earlier', () => {
    const shorter = storyFrom([0, 0, 15, 6]);
    const truth = expected(shorter.truths.at(-1)!);
    expect(truth).toHaveLength(1);
    for (const order of permutations([...events(shorter), ...opens(shorter, [2, 3])])) {
      expect(seen(folded(order, [0]))).toEqual(truth);
    }
  });
});
