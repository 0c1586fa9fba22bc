import { describe, expect, it } from 'vitest';
import { answerSchema, MAX_ANSWER_BYTES, MAX_DECISIONS } from '../../../adapters/mqtt/messages.js';
import {
  answerDue,
  DECISION_MS,
  lastAnswer,
  MOST_BYTES,
  MOST_DECISIONS,
  published,
} from '../../../office/core/answer.js';
import { nextLookMs } from '../../../office/core/attention.js';
import { couple, decide } from '../../../office/core/decide.js';
import type { Wish } from '../../../office/core/model.js';
import fc from '../../support/property.js';
import { idOf, KEY, listedOf, MIN, Office, S, STORE, T0 } from './messages.js';

const wishOf = (what: Wish['do'] = 'take', more: Partial<Wish> = {}): Wish => ({
  alert: idOf(1),
  do: what,
  who: 'dispatch desk',
  note: null,
  minutes: null,
  ...more,
});

/** An office that publishes what is due. */
class Answering extends Office {
  wish(what: Wish['do'], more: Partial<Wish> = {}): this {
    const decided = decide(KEY, this.state, wishOf(what, more), this.nowMs);
    if ('refused' in decided) throw new Error(decided.refused);
    return this.take(decided.folded);
  }

  /** What is published now, or null. */
  answer() {
    const answer = answerDue(this.state, this.nowMs);
    if (answer === null) return null;
    answerSchema.parse(answer);
    const before = this.state.published?.rev ?? 0;
    expect(answer.rev).toBeGreaterThan(before);
    this.state = published(this.state, answer, this.nowMs);
    expect(lastAnswer(this.state)).toEqual(answer);
    expect(answerDue(this.state, this.nowMs)).toBe(null);
    return answer;
  }

  get received(): number | null {
    return this.answer()?.received?.seq ?? null;
  }
}

const heard = (seqs: number): Answering => {
  const office = new Answering().open(0);
  for (let seq = 1; seq <= seqs; seq++) office.event(seq, seq === 1 ? 'raised' : 'unsure');
  return office;
};

describe('a confirmation', () => {
  it('comes ten seconds after the first event, then at most every ten seconds', () => {
    const office = heard(3);
    expect(office.answer()).toBe(null);
    expect(office.wait(10 * S - 1).answer()).toBe(null);
    expect(nextLookMs(office.state, office.rules, office.nowMs)).toBe(T0 + 10 * S);
    expect(office.wait(1).answer()).toMatchObject({ received: { store: STORE, seq: 3 }, decisions: [], trailer: null });
    expect(office.event(4, 'sure').answer()).toBe(null);
    expect(office.wait(10 * S - 1).answer()).toBe(null);
    expect(nextLookMs(office.state, office.rules, office.nowMs)).toBe(office.nowMs + 1);
    expect(office.wait(1).received).toBe(4);
    expect(office.wait(MIN).answer()).toBe(null);
    expect(nextLookMs(office.state, office.rules, office.nowMs)).toBe(T0 + 15 * MIN);
  });

  it('that has become due while the row was stored, or while no office ran, is due at once', () => {
    const office = heard(3).wait(10 * S - 1);
    expect(office.answer()).toBe(null);
    expect(nextLookMs(office.state, office.rules, office.nowMs + 1)).toBe(office.nowMs + 1);
    expect(nextLookMs(office.state, office.rules, office.nowMs + 5 * S)).toBe(office.nowMs + 5 * S);
    expect(office.wait(5 * S).received).toBe(3);
  });

  it('or after fifty events', () => {
    const office = heard(1).wait(10 * S);
    expect(office.received).toBe(1);
    for (let seq = 2; seq <= 50; seq++) office.event(seq, 'unsure');
    expect(office.answer()).toBe(null);
    expect(office.event(51, 'sure').received).toBe(51);
  });

  it('stops at a hole, and never falls', () => {
    const office = heard(3).wait(10 * S);
    expect(office.received).toBe(3);
    expect(office.event(5, 'unsure').wait(MIN).answer()).toBe(null);
    expect(office.event(4, 'sure').received).toBe(5);
    // Another copy of the row has seen less.
    office.state = { ...office.state, stores: office.state.stores.map((each) => ({ ...each, ranges: [[2, 3]] })) };
    office.wish('take').wait(MIN);
    expect(office.received).toBe(5);
  });

  it('is of the database that the truck has now, and of none that is no store', () => {
    const office = heard(3).wait(10 * S);
    expect(office.received).toBe(3);
    office.event(1, 'raised', { store: '~a1b2c3d4e5f', stored: false }).wait(MIN);
    expect(office.answer()).toBe(null);
    office.open(1, [], { store: 'n3w' }).event(1, 'raised', { store: 'n3w', alert: idOf(1, 'n3w') });
    expect(office.event(4, 'sure').answer()).toBe(null);
    expect(office.wait(10 * S).answer()?.received).toEqual({ store: 'n3w', seq: 1 });
  });

  it('of a database that only a presence names is given too; a will that names an old one does not stop it', () => {
    const office = new Answering()
      .presence('awake')
      .event(1, 'raised')
      .wait(10 * S);
    expect(office.received).toBe(1);
    office
      .open(1, [], { store: 'n3w' })
      .event(1, 'raised', { store: 'n3w', alert: idOf(1, 'n3w') })
      .wait(10 * S);
    office.presence('offline', { since: null }).event(2, 'sure');
    expect(office.answer()?.received).toEqual({ store: 'n3w', seq: 1 });
  });

  it('waits for a gap that the truck has just gone past', () => {
    const office = heard(2).wait(10 * S);
    expect(office.received).toBe(2);
    office
      .gap(3, 5, 3)
      .event(6, 'sure')
      .wait(10 * S - 1);
    expect(office.answer()).toBe(null);
    expect(nextLookMs(office.state, office.rules, office.nowMs)).toBe(office.nowMs + 1);
    expect(office.wait(1).received).toBe(6);
  });
});

describe('a decision', () => {
  it('goes out at once, with a revision of its own, together with what is confirmed', () => {
    const office = heard(3).wait(10 * S);
    expect(office.answer()).toMatchObject({ decisions: [] });
    const answer = office.event(4, 'sure').wish('take', { note: 'tire ordered' }).answer()!;
    const decision = { alert: idOf(1), do: 'take', who: 'dispatch desk', note: 'tire ordered', minutes: null };
    expect(answer).toMatchObject({ received: { seq: 4 }, decisions: [{ ...decision, rev: answer.rev }] });
  });

  it('is said again until the truck has it, also with a confirmation', () => {
    const office = heard(1).wish('take');
    const { rev } = office.answer()!.decisions[0]!;
    expect(office.wait(10 * S).answer()).toMatchObject({ received: { seq: 1 }, decisions: [{ rev }] });
    office.event(2, 'taken', { who: 'dispatch desk' });
    expect(office.state.decisions).toEqual([]);
    expect(office.answer()).toBe(null);
    expect(office.wait(10 * S).answer()).toMatchObject({ received: { seq: 2 }, decisions: [] });
  });

  it('is withdrawn after a day, though the truck says nothing', () => {
    const office = heard(1)
      .wait(10 * S)
      .wish('take');
    office.answer();
    expect(nextLookMs(office.state, { ...office.rules }, office.nowMs)).toBe(office.nowMs + DECISION_MS);
    expect(office.wait(DECISION_MS - 1).answer()).toBe(null);
    expect(office.wait(1).answer()).toMatchObject({ decisions: [] });
    expect(office.state.decisions).toEqual([]);
  });

  it('of an office that has lost its store stands above all that it has ever said', () => {
    const before = heard(1);
    for (let i = 0; i < 20; i++) before.wish('take', { note: `note ${i}` }).wait(S);
    const { rev } = before.answer()!;
    const anew = heard(1).wait(MIN).wish('take');
    expect(anew.answer()!.rev).toBeGreaterThan(rev);
  });

  it('has a higher number than the one before, though the clock was set back', () => {
    const office = heard(1).wish('take');
    const { rev } = office.answer()!;
    office.nowMs -= 365 * 24 * 3_600 * S;
    expect(
      office
        .wish('snooze', { minutes: 5 })
        .answer()!
        .decisions.map((d) => d.rev - rev),
    ).toEqual([0, 1]);
  });

  it('the trailer goes out at once too', () => {
    const office = heard(1);
    const coupled = couple(office.state, 'TR-77');
    if ('refused' in coupled) throw new Error(coupled.refused);
    expect(office.take(coupled.folded).answer()).toMatchObject({ trailer: 'TR-77', received: null });
    expect(couple(office.state, 'TR-77')).toEqual({ folded: { state: office.state, notices: [] } });
    expect(couple(office.state, 'TR\n77')).toHaveProperty('refused');
  });
});

describe('the limits of an answer', () => {
  it('are those of the message', () => {
    expect([MOST_DECISIONS, MOST_BYTES]).toEqual([MAX_DECISIONS, MAX_ANSWER_BYTES]);
  });

  it('hold whatever is wished: it fits, or the wish is refused in a line', () => {
    const text = fc.string({ unit: fc.constantFrom('a', 'é', '漢', '"', '\\', '🚚'), maxLength: 150 });
    const wish = fc.record({ alert: fc.nat(99), do: fc.constantFrom('take', 'snooze'), note: text, who: text });
    const rich = new Answering();
    for (let seq = 1; seq <= 100; seq++) rich.event(seq, 'raised', { alert: idOf(seq), subject: `s${seq}` });
    fc.assert(
      fc.property(fc.array(wish, { minLength: 50, maxLength: 100 }), (wishes) => {
        let { state } = rich;
        let refused = '';
        for (const { alert, who, ...rest } of wishes) {
          const one = { ...rest, alert: idOf(alert + 1), who: `w${who}`.slice(0, 64), minutes: 60 };
          const decided = decide(KEY, state, one as Wish, T0);
          if ('folded' in decided) state = decided.folded.state;
          else refused = decided.refused;
          const answer = answerDue(state, T0)!;
          if (answer === null) continue;
          answerSchema.parse({ ...answer, received: { store: 'x'.repeat(32), seq: Number.MAX_SAFE_INTEGER } });
          expect(Buffer.byteLength(JSON.stringify({ ...answer, trailer: 'x'.repeat(64) }))).toBeLessThan(MOST_BYTES);
        }
        expect(refused).toMatch(/^$|too many decisions|printable|signed in/);
      }),
      { numRuns: 15 },
    );
  });

  it('long notes fill it before that', () => {
    const office = new Answering();
    for (let seq = 1; seq <= 17; seq++) office.event(seq, 'raised', { alert: idOf(seq), subject: `s${seq}` });
    const note = '漢'.repeat(300);
    for (let seq = 1; seq <= 15; seq++) office.wish('take', { alert: idOf(seq), note });
    expect(() => office.wish('take', { alert: idOf(16), note })).toThrow('too many decisions wait for this truck');
    const { length } = Buffer.from(JSON.stringify(office.answer()));
    expect(length).toBeGreaterThan(15_000);
    expect(length).toBeLessThan(MAX_ANSWER_BYTES);
  });

  it('the 65th decision is refused', () => {
    const office = new Answering();
    for (let seq = 1; seq <= 65; seq++) office.event(seq, 'raised', { alert: idOf(seq), subject: `s${seq}` });
    for (let seq = 1; seq <= 64; seq++) office.wish('take', { alert: idOf(seq) });
    expect(() => office.wish('take', { alert: idOf(65) })).toThrow('too many decisions wait for this truck');
    expect(office.answer()!.decisions).toHaveLength(64);
    expect(office.open(65, [listedOf({ alert: idOf(65) })]).state.decisions).toEqual([]);
    office.wish('take', { alert: idOf(65) });
  });
});
