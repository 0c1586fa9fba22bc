import { describe, expect, it } from 'vitest';
import { Drive } from './drive.js';

const RULE = 'brake-lining-low';
/** SPN 1099–1106 of EBC4: front axle left, right, rear axles 1 to 3. */
const FRONT_LEFT = 1099;
const SUBJECT = 'tractor/1/left';

/** What one wheel says, reading by reading: EBC4 is sent on request, so hours may lie between. */
function told(percents: readonly number[], d = new Drive().run(2), gapS = 0): Drive {
  for (const percent of percents) {
    d.send(65196, 11, { [FRONT_LEFT]: percent });
    if (gapS > 60) d.rest(gapS);
    d.run(1);
  }
  return d.run(2);
}

describe('brake-lining-low (common practice; steps of 0.4 %)', () => {
  it.each([
    ['plan at 20 %', 20, ['raised plan']],
    ['nothing at 20.4 %', 20.4, []],
    ['plan at 10.4 %', 10.4, ['raised plan']],
    ['next-stop at 10 %', 10, ['raised next-stop']],
    ['next-stop at 0 %, beside another lining that is not worn off', 0, ['raised next-stop']],
  ] as const)('%s, at the third reading', (_, percent, events) => {
    const d = new Drive().run(2);
    const say = (): Drive => {
      d.send(65196, 11, { [FRONT_LEFT]: percent, 1100: 60 });
      return d.run(2);
    };
    say();
    expect(say().of(RULE)).toEqual([]);
    expect(say().of(RULE)).toEqual(events);
  });

  it('tells what is left and where', () => {
    const [event] = told([20, 20, 20]).list(RULE);
    expect(event).toMatchObject({ subject: SUBJECT, place: 'tractor axle 1, left brake', urgency: 'plan' });
    expect(event!.measured).toEqual({
      quantity: 'lining left',
      value: 0.2,
      limit: 0.2,
      unit: 'share',
      quality: 'good',
    });
    expect(event!.basis).toBe('common practice');
  });

  it('one reading above 20 % between them begins the count anew', () => {
    expect(told([20, 20, 20.4, 20, 20]).of(RULE)).toEqual([]);
    expect(told([20, 20, 20.4, 20, 20, 20]).of(RULE)).toEqual(['raised plan']);
  });

  it.each([
    [24.8, []],
    [25.2, ['cleared plan']],
  ] as const)('new linings: at %d %% of them, read three times', (percent, after) => {
    const d = told([20, 20, 20]);
    told([percent, percent], d);
    expect(d.of(RULE)).toEqual(['raised plan']);
    expect(told([percent], d).of(RULE)).toEqual(['raised plan', ...after]);
  });

  it('one good reading among bad ones clears nothing', () => {
    const d = told([20, 20, 20]);
    expect(told([100, 100, 20, 100, 100], d).of(RULE)).toEqual(['raised plan']);
    expect(told([100], d).of(RULE)).toEqual(['raised plan', 'cleared plan']);
  });

  it.each([
    [14.8, []],
    [15.2, ['better plan']],
  ] as const)('from next-stop down to plan at %d %%', (percent, after) => {
    const d = told([10, 10, 10]);
    expect(told([percent, percent, percent], d).of(RULE)).toEqual(['raised next-stop', ...after]);
  });

  it('readings hours apart and of several runs count together; silence clears nothing', () => {
    const parked = new Drive();
    parked.world.kmh = 0;
    const d = told([20, 20], parked.run(2), 7200);
    expect(d.of(RULE)).toEqual([]);
    d.restart(8 * 3_600_000);
    d.run(3);
    expect(told([20], d).of(RULE)).toEqual(['raised plan']);
    d.rest(2 * 3600);
    d.restart(null);
    d.rest(3600).run(60);
    expect(d.of(RULE)).toEqual(['raised plan']);
    told([30, 30], d);
    d.restart(60_000);
    expect(told([30], d).of(RULE)).toEqual(['raised plan', 'cleared plan']);
  });

  it('eight zeros are a sender that has nothing to tell', () => {
    const d = new Drive().run(2);
    for (let i = 0; i < 5; i++) {
      d.send(65196, 11, new Uint8Array(8));
      d.run(2);
    }
    expect(d.of(RULE)).toEqual([]);
  });

  it('errors and not-available are no readings', () => {
    const d = told([20, 20]);
    for (const raw of [0xff, 0xfe]) {
      d.send(65196, 11, Uint8Array.of(raw, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff));
      d.run(1);
    }
    expect(told([20], d).of(RULE)).toEqual(['raised plan']);
  });

  it('of two senders the first is believed until what it said is an hour old', () => {
    const d = told([60]);
    const other = (): Drive => {
      for (let i = 0; i < 4; i++) {
        d.send(65196, 99, { [FRONT_LEFT]: 5 });
        d.run(2);
      }
      return d;
    };
    expect(other().of(RULE)).toEqual([]);
    d.rest(3610).run(2);
    expect(other().of(RULE)).toEqual(['raised next-stop']);
  });

  it('each field is its own wheel end: rear axles are those behind the front that do not steer', () => {
    const d = new Drive().run(2);
    for (let i = 0; i < 3; i++) {
      d.send(65196, 11, { 1099: 60, 1102: 20, 1103: 10, 1106: 5 });
      d.run(2);
    }
    // There is no third rear axle on this tractor for SPN 1105 and 1106.
    expect(d.list(RULE).map((e) => `${e.subject} ${e.urgency}`)).toEqual([
      'tractor/2/right plan',
      'tractor/3/left next-stop',
    ]);
  });
});
