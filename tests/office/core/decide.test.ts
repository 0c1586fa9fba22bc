import { describe, expect, it } from 'vitest';
import { MAX_LENGTH } from '../../../adapters/mqtt/messages.js';
import { answerDue, published } from '../../../office/core/answer.js';
import { isSnoozed, isTaken } from '../../../office/core/attention.js';
import { decide, MOST_NOTE, MOST_WHO } from '../../../office/core/decide.js';
import type { Wish } from '../../../office/core/model.js';
import { idOf, KEY, listedOf, MIN, Office, S, stamp, T0 } from './messages.js';

const wishOf = (what: Wish['do'], more: Partial<Wish> = {}): Wish => ({
  alert: idOf(1),
  do: what,
  who: 'dispatch desk',
  note: null,
  minutes: what === 'snooze' ? 60 : null,
  ...more,
});

class Deciding extends Office {
  wish(what: Wish['do'], more: Partial<Wish> = {}): this {
    const decided = decide(KEY, this.state, wishOf(what, more), this.nowMs);
    if ('refused' in decided) throw new Error(decided.refused);
    return this.take(decided.folded);
  }

  publish(): this {
    const answer = answerDue(this.state, this.nowMs);
    if (answer !== null) this.state = published(this.state, answer, this.nowMs);
    return this;
  }

  get asked(): string[] {
    return this.state.decisions.map((d) => `${d.do} ${d.who}`);
  }
}

const driving = (): Deciding => new Deciding().presence('awake').event(1, 'raised');
const parked = (): Deciding => driving().presence('parked');
const worst = (): Deciding => driving().event(2, 'worse', { urgency: 'pull-over' });

describe('a wish that is refused', () => {
  it.each<[string, () => Deciding, Wish, RegExp]>([
    ['of an alert that is over', () => driving().event(2, 'cleared'), wishOf('take'), /not open any more/],
    ['of one that never was', driving, wishOf('take', { alert: 'x' }), /not open any more/],
    ['a pull-over put off', worst, wishOf('snooze'), /pull-over can be taken, but not put off/],
    ['no minutes', driving, wishOf('snooze', { minutes: null }), /1 to 720 minutes/],
    ['0 minutes', driving, wishOf('snooze', { minutes: 0 }), /1 to 720 minutes/],
    ['721 minutes', driving, wishOf('snooze', { minutes: 721 }), /1 to 720 minutes/],
    ['half a minute', driving, wishOf('snooze', { minutes: 0.5 }), /1 to 720 minutes/],
    ['what is not put off resumed', driving, wishOf('resume'), /not put off/],
    ['closed while it drives', driving, wishOf('close'), /stands still/],
    ['closed while nobody knows', () => new Deciding().open(1, [listedOf()]), wishOf('close'), /stands still/],
    ['a note too long', driving, wishOf('take', { note: 'x'.repeat(301) }), /at most 300 characters/],
    ['a note of two lines', driving, wishOf('take', { note: 'a\nb' }), /one line/],
    ['a note with a control character', driving, wishOf('take', { note: 'a\u202eb' }), /printable/],
    ['by nobody', driving, wishOf('take', { who: '' }), /signed in/],
    ['by a name too long', driving, wishOf('take', { who: 'x'.repeat(65) }), /signed in/],
  ])('%s', (_name, office, wish, line) => {
    const { state, nowMs } = office();
    const decided = decide(KEY, state, wish, nowMs);
    expect(decided).toEqual({ refused: expect.stringMatching(line) });
    expect(JSON.stringify(decided)).not.toContain('\\n');
  });
});

describe('a wish that is taken up', () => {
  it.each<[string, () => Deciding, Wish]>([
    ['1 minute', driving, wishOf('snooze', { minutes: 1 })],
    ['720 minutes', driving, wishOf('snooze', { minutes: 720 })],
    ['a pull-over taken', worst, wishOf('take')],
    ['a note of 300 characters', driving, wishOf('take', { note: 'é'.repeat(300) })],
    ['closed while parked', parked, wishOf('close')],
    ['closed, parked and then off', () => parked().presence('offline', { since: null }), wishOf('close')],
    ['closed while unsure', () => driving().event(2, 'unsure'), wishOf('close')],
    [
      'closed at walking pace',
      () => driving().event(2, 'sure', { vehicle: { speed: 4, lat: 0, lon: 0, age: 1 } }),
      wishOf('close'),
    ],
    [
      'resumed, put off by the truck',
      () => driving().event(2, 'snoozed', { who: 'x', snoozeS: 600 }),
      wishOf('resume'),
    ],
  ])('%s', (_name, office, wish) => {
    const { state, nowMs } = office();
    const decided = decide(KEY, state, wish, nowMs);
    expect(decided).toMatchObject({ folded: { state: { decisions: [{ do: wish.do, askedMs: nowMs }] }, notices: [] } });
  });

  it('its limits are those of the message', () => {
    expect([MOST_WHO, MOST_NOTE]).toEqual([MAX_LENGTH.short, MAX_LENGTH.basis]);
  });

  it('an empty note is none', () => {
    expect(driving().wish('take', { note: '  ' }).state.decisions[0]!.note).toBe(null);
  });

  it('twice is once', () => {
    const office = driving().wish('take', { note: 'x' }).wish('snooze');
    const { state } = office;
    expect(office.wish('take', { note: 'x' }).wish('snooze').state).toBe(state);
  });

  it('taken by who has it already changes nothing', () => {
    const office = driving().event(2, 'taken', { who: 'dispatch desk' });
    expect(office.wish('take').asked).toEqual([]);
    expect(office.wish('take', { who: 'night shift' }).asked).toEqual(['take night shift']);
    // Back to the first, whose taking the truck knows: the one asked in between must not win.
    expect(office.wish('take').asked).toEqual(['take dispatch desk']);
  });

  it('the last word on the same thing replaces the one before, on another it does not', () => {
    const office = driving().wish('take').wish('snooze').wish('take', { who: 'night shift' });
    expect(office.asked).toEqual(['snooze dispatch desk', 'take night shift']);
    expect(office.wish('resume').asked).toEqual(['take night shift', 'resume dispatch desk']);
    expect(office.presence('parked').wish('close').asked).toEqual(['close dispatch desk']);
  });

  it('the same snooze a minute later ends later, so it is asked anew', () => {
    const office = driving().wish('snooze').wait(MIN).wish('snooze');
    expect(office.state.decisions).toMatchObject([{ askedMs: T0 + MIN }]);
  });
});

describe('what is asked holds on the board at once', () => {
  it('taken and put off', () => {
    const office = driving().wish('take').wish('snooze', { minutes: 30 });
    const alert = office.alert()!;
    expect([isTaken(alert, office.state), isSnoozed(alert, office.state, T0)]).toEqual([true, true]);
    expect(isSnoozed(alert, office.state, T0 + 30 * MIN)).toBe(false);
    office.wish('resume');
    expect(isSnoozed(alert, office.state, T0)).toBe(false);
  });
});

describe('a decision is done', () => {
  const desk = { who: 'dispatch desk' };

  it.each<[string, Wish, (office: Deciding) => Office, boolean]>([
    ['by the event of that person', wishOf('take'), (o) => o.event(3, 'taken', desk), true],
    ['not by that of another', wishOf('take'), (o) => o.event(3, 'taken', { who: 'night shift' }), false],
    [
      'not by one with another note',
      wishOf('take', { note: 'new' }),
      (o) => o.event(3, 'taken', { ...desk, note: 'old' }),
      false,
    ],
    [
      'by one whose note was cut',
      wishOf('take', { note: 'new tire' }),
      (o) => o.event(3, 'taken', { ...desk, note: 'new' }),
      true,
    ],
    ['by the list', wishOf('take'), (o) => o.open(3, [listedOf({ taken: { ...desk, at: stamp(T0) } })]), true],
    ['snoozed so long', wishOf('snooze'), (o) => o.event(3, 'snoozed', { ...desk, snoozeS: 3_600 }), true],
    [
      'not snoozed otherwise',
      wishOf('snooze', { minutes: 30 }),
      (o) => o.event(3, 'snoozed', { who: 'x', snoozeS: 60 }),
      false,
    ],
    [
      'snoozed in the list',
      wishOf('snooze'),
      (o) => o.open(3, [listedOf({ snoozed: { ...desk, until: stamp(T0 + 60 * MIN) } })]),
      true,
    ],
    ['no snooze of a pull-over', wishOf('snooze'), (o) => o.event(3, 'worse', { urgency: 'pull-over' }), true],
    ['when the alert is over', wishOf('take'), (o) => o.event(3, 'cleared'), true],
    ['when the list has it no more', wishOf('take'), (o) => o.open(3), true],
    ['not by an old list', wishOf('take'), (o) => o.open(1, [listedOf()]), false],
  ])('%s', (_name, wish, tell, isDone) => {
    const office = driving().event(2, 'sure').wish(wish.do, wish).publish();
    tell(office);
    expect(office.state.decisions).toHaveLength(isDone ? 0 : 1);
  });

  it('resumed, also by the truck itself', () => {
    const office = driving()
      .event(2, 'snoozed', { ...desk, snoozeS: 3_600 })
      .wish('resume');
    expect(office.event(3, 'unsure').asked).toHaveLength(1);
    expect(office.event(4, 'resumed').asked).toEqual([]);
  });

  it('a second snooze is not done by the first, whose end the list counts anew', () => {
    const office = driving()
      .event(2, 'snoozed', { ...desk, snoozeS: 3_600 })
      .wait(2 * MIN)
      .wish('snooze');
    const until = T0 + 2 * S + 60 * MIN;
    office.open(2, [listedOf({ snoozed: { ...desk, until: stamp(until + 900) } })], { at: stamp(T0 + 9 * S) });
    expect(office.asked).toHaveLength(1);
    office.open(3, [listedOf({ snoozed: { ...desk, until: stamp(until + 2 * MIN) } })]);
    expect(office.asked).toEqual([]);
  });

  it('a truck that was heard ten minutes after it was published cannot do it any more; a take it would have done', () => {
    const office = parked()
      .wish('close')
      .wish('take')
      .publish()
      .wait(10 * MIN - 1);
    expect(office.event(2, 'sure').asked).toEqual(['close dispatch desk', 'take dispatch desk']);
    expect(office.wait(1).event(3, 'unsure').asked).toEqual(['take dispatch desk']);
  });
});
