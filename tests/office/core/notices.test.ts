import { describe, expect, it } from 'vitest';
import { attention, isExplained, isTaken } from '../../../office/core/attention.js';
import type { Incoming, Notice } from '../../../office/core/model.js';
import fc from '../../support/property.js';
import { channel, KEY, MIN, Office, S } from './messages.js';
import { openAfter, openIn, storyFrom } from './truck-story.js';

const CHANNELS = [channel('desk', 'next-stop', 'pull-over'), channel('night', 'pull-over'), channel('shop', 'plan')];

/** What each channel was told of each alert, in order. */
function byPair(notices: readonly Notice[]): Map<string, Notice['why'][]> {
  const pairs = new Map<string, Notice['why'][]>();
  for (const { channel: name, alert, why } of notices) {
    const pair = `${name} ${alert.id}`;
    pairs.set(pair, [...(pairs.get(pair) ?? []), why]);
  }
  return pairs;
}

/** Raised, perhaps called untaken, ended; and so again when it comes back. Once it is over nothing more. */
const isWellFormed = (whys: readonly Notice['why'][]): boolean =>
  /^(?:r(?:u)*e)*(?:r(?:u)*)?$/.test(whys.map((why) => why[0]).join(''));

function lookOften(office: Office, ms: number): void {
  for (const end = office.nowMs + ms; office.nowMs < end; ) {
    office.wait(Math.min(5 * S, end - office.nowMs));
    office.take(attention(KEY, office.state, office.rules, office.nowMs));
  }
}

const choices = fc.array(fc.nat(10_000), { minLength: 1, maxLength: 18 });
const waits = fc.array(fc.constantFrom(0, 1, 8, 20, 150, 1_000), { minLength: 60, maxLength: 60 });
const keys = fc.array(fc.nat(40), { minLength: 60, maxLength: 60 });

describe('whatever comes, in whatever order and however slowly', () => {
  it('each channel hears of each alert that it wants once, once that it is over, and never of one that is', () => {
    fc.assert(
      fc.property(choices, waits, keys, fc.array(fc.nat(30), { maxLength: 4 }), (numbers, seconds, order, at) => {
        const story = storyFrom(numbers);
        const office = new Office({ channels: CHANNELS });
        const last = story.events.length;
        // Mixed up by some places; a list that has everything comes last, as it does from a truck.
        const messages = [
          ...story.events.map((message, i) => ({ key: i * 10 + order[i]!, one: { kind: 'event' as const, message } })),
          ...at.map((n, i) => {
            const asOf = n % (last + 1);
            return { key: asOf * 10 + order[i + 30]!, one: { kind: 'open' as const, message: openAfter(story, asOf) } };
          }),
        ].sort((a, b) => a.key - b.key);
        messages.push({ key: Number.POSITIVE_INFINITY, one: { kind: 'open', message: openAfter(story, last) } });
        for (const [i, { one }] of messages.entries()) {
          office.fold({ ...one, receivedMs: office.nowMs } as Incoming);
          lookOften(office, seconds[i]! * S);
        }
        lookOften(office, 20 * MIN);
        const pairs = byPair(office.notices);
        for (const [pair, whys] of pairs) expect([pair, whys, isWellFormed(whys)]).toEqual([pair, whys, true]);
        const open = new Map(openIn(story.truths[last]!).map((a) => [a.alert, a]));
        for (const { name, urgencies } of CHANNELS) {
          for (const [id, a] of open) {
            if (urgencies.includes(a.urgency)) expect(pairs.get(`${name} ${id}`)?.at(-1)).toMatch(/raised|untaken/);
          }
        }
        for (const [pair, whys] of pairs) if (!open.has(pair.split(' ')[1]!)) expect(whys.at(-1)).toBe('ended');
        expect(office.state.leaving).toEqual([]);
        for (const alert of office.state.alerts) {
          const isWaiting = alert.urgency !== 'plan' && alert.snoozed === null && !isTaken(alert, office.state);
          if (isWaiting && !isExplained(alert, office.state)) expect(alert.untakenMs).not.toBe(null);
        }
      }),
      { numRuns: 150 },
    );
  });
});
