import { describe, expect, it } from 'vitest';
import type { Decision } from '../../../daemon/input.js';
import { BookBench, DRIVING, PARKED } from '../../support/book-bench.js';

const TIRE = 'tractor/2/left/outer';
const LOW = 'tire-underinflated';
const low = (what: string) => `${what} ${LOW} ${TIRE}`;
const MINUTE = 60;

/** Alert 1 in each state that a decision can meet. */
const STATES: Record<string, () => BookBench> = {
  'plan, driving': () => raised(1),
  'next-stop, driving': () => raised(2),
  'pull-over, driving': () => raised(3),
  'plan, standing': () => standing(raised(1)),
  'pull-over, standing': () => standing(raised(3)),
  'unsure, driving': () => {
    const b = raised(2);
    b.silence(LOW, TIRE).tick(61);
    return b;
  },
  'unsure pull-over, driving': () => {
    const b = raised(3);
    b.silence(LOW, TIRE).tick(61);
    return b;
  },
  chattering: () => {
    const b = raised(1);
    for (let k = 0; k < 3; k++) {
      b.set(LOW, TIRE, 0).tick(5);
      b.set(LOW, TIRE, 1).tick(5);
    }
    return b;
  },
  taken: () => decided(raised(2), 'take'),
  snoozed: () => decided(raised(2), 'snooze'),
  restored: () => raised(2).restarted(60_000),
  cleared: () => {
    const b = raised(2);
    b.set(LOW, TIRE, 0).tick();
    return b;
  },
  closed: () => {
    const b = raised(2);
    b.book.close(() => 'unit-gone');
    b.tick();
    return b;
  },
  unknown: () => new BookBench(),
};

function raised(level: 1 | 2 | 3): BookBench {
  const b = new BookBench();
  b.set(LOW, TIRE, level).tick();
  return b;
}

function standing(b: BookBench): BookBench {
  b.around = PARKED;
  return b;
}

function decided(b: BookBench, what: Decision['do']): BookBench {
  b.decide(1, what).tick();
  return b;
}

// What each decision says in each state; null: refused. From design.md, "Take and snooze" and "Ending".
type Said = string | null;
const GRID: Record<string, Record<Decision['do'], Said>> = {
  'plan, driving': { take: 'taken plan', snooze: 'snoozed plan', resume: null, close: null },
  'next-stop, driving': { take: 'taken next-stop', snooze: 'snoozed next-stop', resume: null, close: null },
  'pull-over, driving': { take: 'taken pull-over', snooze: null, resume: null, close: null },
  'plan, standing': { take: 'taken plan', snooze: 'snoozed plan', resume: null, close: 'closed plan' },
  'pull-over, standing': { take: 'taken pull-over', snooze: null, resume: null, close: 'closed pull-over' },
  'unsure, driving': { take: 'taken next-stop', snooze: 'snoozed next-stop', resume: null, close: 'closed next-stop' },
  'unsure pull-over, driving': { take: 'taken pull-over', snooze: null, resume: null, close: 'closed pull-over' },
  chattering: { take: 'taken plan', snooze: 'snoozed plan', resume: null, close: null },
  taken: { take: 'taken next-stop', snooze: 'snoozed next-stop', resume: null, close: null },
  snoozed: { take: 'taken next-stop', snooze: 'snoozed next-stop', resume: 'resumed next-stop', close: null },
  restored: { take: 'taken next-stop', snooze: 'snoozed next-stop', resume: null, close: null },
  cleared: { take: null, snooze: null, resume: null, close: null },
  closed: { take: null, snooze: null, resume: null, close: null },
  unknown: { take: null, snooze: null, resume: null, close: null },
};

describe('each decision in each state of an alert', () => {
  const cases = Object.entries(GRID).flatMap(([state, row]) =>
    Object.entries(row).map(([what, said]) => [state, what as Decision['do'], said] as const),
  );
  it.each(cases)('%s: %s gives %s', (state, what, said) => {
    const b = STATES[state]!();
    const before = b.refused;
    const closed = what === 'close' ? ' (said-repaired)' : '';
    expect(b.decide(1, what).tick()).toEqual(said === null ? [] : [`${low(said)}${closed}`]);
    expect(b.refused - before).toBe(said === null ? 1 : 0);
  });

  it('every state of the grid is made', () => {
    expect(Object.keys(STATES)).toEqual(Object.keys(GRID));
  });
});

describe('an event of a person', () => {
  it.each([
    ['take', 'seen', { who: 'A. Ray', note: 'seen' }],
    ['take', null, { who: 'A. Ray' }],
    ['snooze', 'tire ordered', { who: 'A. Ray', note: 'tire ordered', snoozeS: 7200 }],
  ] as const)('%s, note %s: who, what they wrote, how long', (what, note, said) => {
    const b = raised(2);
    b.decide(1, what, { who: 'A. Ray', note, minutes: what === 'snooze' ? 120 : null }).tick();
    const { who, note: wrote, snoozeS } = b.events.at(-1)!;
    expect({ ...(who && { who }), ...(wrote && { note: wrote }), ...(snoozeS && { snoozeS }) }).toEqual(said);
  });

  it('closing says who says so, and is not clearing', () => {
    const b = standing(raised(3));
    b.decide(1, 'close', { who: 'workshop', note: 'new valve' }).tick();
    expect(b.events.at(-1)).toMatchObject({
      change: 'closed',
      reason: 'said-repaired',
      who: 'workshop',
      note: 'new valve',
      was: 'pull-over',
    });
    expect(b.tick(10)).toEqual([]);
    expect(b.set(LOW, TIRE, 3).tick()).toEqual([low('raised pull-over')]);
    expect(b.events.at(-1)).toMatchObject({ alert: 2 });
    expect(b.events.at(-1)).not.toHaveProperty('who');
  });

  it('measured changes have none', () => {
    const b = raised(1);
    b.set(LOW, TIRE, 2).tick();
    for (const e of b.events) for (const key of ['who', 'note', 'snoozeS']) expect(e).not.toHaveProperty(key);
  });

  it('several of one tick come in the order of the table, those of one alert in their own order', () => {
    const b = new BookBench();
    b.set('tire-hot', TIRE, 2).set(LOW, TIRE, 1).tick();
    const [lowOne, hot] = b.events.map((e) => e.alert) as [number, number];
    b.decide(hot, 'take').decide(lowOne, 'snooze').decide(lowOne, 'resume').decide(hot, 'snooze');
    expect(b.tick()).toEqual([
      low('snoozed plan'),
      low('resumed plan'),
      `taken next-stop tire-hot ${TIRE}`,
      `snoozed next-stop tire-hot ${TIRE}`,
    ]);
  });
});

describe('a snooze', () => {
  it.each([
    [1, true],
    [720, true],
    [721, false],
    [0, false],
    [-5, false],
    [1.5, false],
    [Number.NaN, false],
    [null, false],
  ])('of %s minutes: %s', (minutes, isApplied) => {
    const b = raised(1);
    b.decide(1, 'snooze', { minutes }).tick();
    expect(b.refused).toBe(isApplied ? 0 : 1);
    expect(b.book.openDraft(b.t, null).alerts[0]!.snoozed).toEqual(
      isApplied ? { who: 'dispatch desk', leftS: minutes! * 60 } : null,
    );
  });

  it('ends by itself after its minutes, with one event', () => {
    const b = raised(1);
    b.decide(1, 'snooze', { minutes: 30 }).tick();
    expect(b.tick(30 * MINUTE - 1)).toEqual([]);
    expect(b.book.openDraft(b.t, null).alerts[0]!.snoozed).toEqual({ who: 'dispatch desk', leftS: 1 });
    expect(b.tick()).toEqual([low('resumed plan')]);
    expect(b.events.at(-1)).not.toHaveProperty('who');
    expect(b.book.openDraft(b.t, null).alerts[0]!.snoozed).toBeNull();
    expect(b.tick(7200)).toEqual([]);
  });

  it('that is set anew runs from then on', () => {
    const b = decided(raised(1), 'snooze');
    b.tick(59 * MINUTE);
    b.decide(1, 'snooze', { minutes: 2 });
    expect(b.tick()).toEqual([low('snoozed plan')]);
    expect(b.tick(2 * MINUTE - 1)).toEqual([]);
    expect(b.tick()).toEqual([low('resumed plan')]);
  });

  it('stops no rise, and ends at it without another event', () => {
    const b = decided(raised(1), 'snooze');
    expect(b.set(LOW, TIRE, 2).tick()).toEqual([low('worse next-stop')]);
    expect(b.book.openDraft(b.t, null).alerts[0]!.snoozed).toBeNull();
    expect(b.tick(7200)).toEqual([]);
  });

  it('stays when the alert gets better or unsure', () => {
    const b = decided(raised(2), 'snooze');
    expect(b.set(LOW, TIRE, 1).tick()).toEqual([low('better plan')]);
    expect(b.silence(LOW, TIRE).tick(61)).toEqual([low('unsure plan')]);
    expect(b.book.openDraft(b.t, null).alerts[0]!.snoozed).not.toBeNull();
  });

  it('is over with the alert: what is reopened is not snoozed, but whoever took it still has it', () => {
    const b = decided(decided(raised(2), 'snooze'), 'take');
    b.set(LOW, TIRE, 0).tick();
    expect(b.set(LOW, TIRE, 1).tick()).toEqual([low('reopened plan')]);
    const [a] = b.book.openDraft(b.t, null).alerts;
    expect([a!.snoozed, a!.taken?.who]).toEqual([null, 'dispatch desk']);
  });

  it('ends at the next trip', () => {
    const b = decided(raised(1), 'snooze');
    b.around = { ...DRIVING, tripBegan: true };
    expect(b.tick()).toEqual([low('resumed plan')]);
  });

  it('of one alert stops nothing of another', () => {
    const b = decided(raised(1), 'snooze');
    expect(b.set('tire-hot', TIRE, 3).tick()).toEqual([`raised pull-over tire-hot ${TIRE}`]);
  });
});

describe('after a restart', () => {
  it('who has taken it is known, and for how long', () => {
    const b = decided(raised(2), 'take').restarted(60_000);
    expect(b.book.openDraft(0, null).alerts[0]!.taken).toEqual({ who: 'dispatch desk', agoMs: 60_000 });
  });

  it('of known length a snooze goes on: the time down counts as sleep', () => {
    const b = decided(raised(1), 'snooze').restarted(59 * MINUTE * 1000);
    expect(b.tick(MINUTE - 1)).toEqual([]);
    expect(b.tick()).toEqual([low('resumed plan')]);
  });

  it('that took longer than the snooze it ends at the first tick', () => {
    const b = decided(raised(1), 'snooze').restarted(2 * 3600_000);
    expect(b.tick()).toEqual([low('resumed plan')]);
  });

  it('of unknown length a snooze ends', () => {
    const b = decided(raised(1), 'snooze').restarted(null);
    expect(b.tick()).toEqual([low('resumed plan')]);
    expect(b.tick(7200)).toEqual([low('unsure plan')]);
  });

  it('an alert of an earlier version has neither been taken nor snoozed', () => {
    const b = raised(1);
    const [a] = Object.values(b.state.book.alerts);
    for (const key of ['takenBy', 'takenAt', 'snoozedBy', 'snoozeEndsAt'])
      delete (a as unknown as Record<string, unknown>)[key];
    const again = b.restarted(1000);
    expect(again.book.openDraft(0, null).alerts[0]).toMatchObject({ taken: null, snoozed: null });
    expect(again.tick(10)).toEqual([]);
  });
});
