import { describe, expect, it } from 'vitest';
import { answerDue, published } from '../../../office/core/answer.js';
import { decide } from '../../../office/core/decide.js';
import type { Incoming, OfficeAlert, Wish } from '../../../office/core/model.js';
import { drive, troubled } from '../../support/drive.js';
import fc from '../../support/property.js';
import { channel, KEY, MIN, Office, STORE, T0 } from './messages.js';
import { type Agreed, agreed, RealTruck } from './truck.js';

/* The program's own core drives forty minutes in which every rule has something to say; the office must know what it knows. */

const END_S = 2_400;
const wanting = { channels: [channel('desk', 'next-stop', 'pull-over')] };

const wishOf = (alert: OfficeAlert, what: Wish['do']): Wish => ({
  alert: alert.id,
  do: what,
  who: 'dispatch desk',
  note: what === 'take' ? 'driver called' : null,
  minutes: what === 'snooze' ? 5 : null,
});

/** Second by second what the truck told, and what it had open then; `act` may answer it. */
function* driven(act: (truck: RealTruck, t: number) => void = () => {}): Generator<Said> {
  const truck = new RealTruck();
  for (let t = 1_000; t <= END_S * 1_000; t += 1_000) {
    truck.rig.feed(drive(t / 1_000 - 1, t / 1_000, troubled)).advance(t);
    yield { t, messages: [...truck.messages()], open: truck.open, truck };
    act(truck, t);
  }
}

interface Said {
  t: number;
  messages: Incoming[];
  open: Agreed[];
  truck: RealTruck;
}

const shift = [...driven()];

describe.each<[string, (message: Incoming) => boolean]>([
  ['events and lists', () => true],
  ['events alone', ({ kind }) => kind === 'event'],
  ['lists alone', ({ kind }) => kind === 'open'],
])('told by %s', (_name, wants) => {
  it('the office has the open alerts of the truck at each tick', () => {
    const office = new Office();
    const seen = new Set<string>();
    for (const { t, messages, open } of shift) {
      office.nowMs = T0 + t;
      office.fold(...messages.filter(wants));
      if (messages.length > 0 || t % 30_000 === 0) expect(agreed(office.state)).toEqual(open);
      for (const a of open) seen.add(`${a.rule} ${a.urgency}${a.unsure ? ' unsure' : ''}`);
    }
    expect(seen.size).toBeGreaterThan(20);
  });
});

describe('with a dispatcher who decides', () => {
  /** Every minute something of the worst alert, or of the one before it. */
  const CYCLE = ['take', 'snooze', 'resume', 'take', 'snooze', 'close'] as const;

  it('the office has what the truck has, and each decision comes to its end', () => {
    const office = new Office(wanting);
    let asked = 0;
    let events = 0;
    const done = new Set<string>();
    const act = (truck: RealTruck, t: number): void => {
      const { alerts } = office.state;
      if ((t / 1_000) % 45 === 0 && alerts.length > 0) {
        const what = CYCLE[(t / 45_000) % CYCLE.length]!;
        const fits = alerts.find((a) => what === 'resume' && a.snoozed !== null);
        const alert = fits ?? alerts[(t / 1_000) % alerts.length]!;
        const decided = decide(KEY, office.state, wishOf(alert, what), office.nowMs);
        const before = office.state.decisions.length;
        if ('folded' in decided) office.take(decided.folded);
        if (office.state.decisions.length > before) asked++;
      }
      const answer = answerDue(office.state, office.nowMs);
      if (answer === null) return;
      office.state = published(office.state, answer, office.nowMs);
      truck.answer(t + 1, answer);
    };
    for (const { t, messages, open } of driven(act)) {
      office.nowMs = T0 + t;
      office.fold(...messages);
      if (messages.length > 0) expect(agreed(office.state)).toEqual(open);
      for (const { kind, message } of messages) {
        if (kind !== 'event') continue;
        events++;
        if (message.who !== undefined) done.add(message.change);
      }
    }
    expect(asked).toBeGreaterThan(20);
    expect(done).toEqual(new Set(['taken', 'snoozed', 'resumed', 'closed']));
    expect(office.state.decisions).toEqual([]);
    expect(office.state.stores.map(({ ranges }) => ranges)).toEqual([[[1, events]]]);
    office.wait(MIN);
    const answer = answerDue(office.state, office.nowMs) ?? office.state.published;
    expect(answer?.received).toEqual({ store: STORE, seq: events });
  });
});

describe('when the office was away meanwhile', () => {
  it('whatever part it missed, and however the rest is mixed, it ends with what the truck has', () => {
    const until = shift.findIndex(({ t }) => t === 1_750_000) + 1;
    const whole = shift.slice(0, until).flatMap(({ messages }) => messages);
    const { open } = shift[until - 1]!;
    const last = whole.findLast(({ kind }) => kind === 'open')!;
    expect(open.length).toBeGreaterThan(3);
    const keys = fc.array(fc.nat(1_000), { minLength: whole.length, maxLength: whole.length });
    fc.assert(
      fc.property(fc.nat(whole.length), keys, (from, order) => {
        const office = new Office();
        const rest = [...whole.slice(from), last].map((message, i) => ({ message, key: order[i] ?? 0 }));
        rest.sort((a, b) => a.key - b.key);
        for (const { message } of rest) office.fold(message);
        expect(agreed(office.state)).toEqual(open);
      }),
      { numRuns: 60 },
    );
  });
});
