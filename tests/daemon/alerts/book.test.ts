import { describe, expect, it } from 'vitest';
import { BookBench, DRIVING, PARKED } from '../../support/book-bench.js';

const TIRE = 'tractor/2/left/outer';
const LOW = 'tire-underinflated';
const low = (what: string) => `${what} ${LOW} ${TIRE}`;

describe('one alert per rule and subject', () => {
  it('gets worse and better instead of being three, and is cleared with the worst it reached', () => {
    const b = new BookBench();
    expect(b.set(LOW, TIRE, 1).tick()).toEqual([low('raised plan')]);
    expect(b.tick(100)).toEqual([]);
    expect(b.set(LOW, TIRE, 2).tick()).toEqual([low('worse next-stop')]);
    expect(b.set(LOW, TIRE, 3).tick()).toEqual([low('worse pull-over')]);
    expect(b.set(LOW, TIRE, 1).tick(30)).toEqual([low('better plan')]);
    expect(b.set(LOW, TIRE, 0).tick(30)).toEqual([low('cleared pull-over')]);
    expect(new Set(b.events.map((e) => e.alert))).toEqual(new Set([1]));
    expect(b.events.map((e) => e.was)).toEqual([null, 'plan', 'next-stop', 'pull-over', 'plan']);
    expect(b.events.map((e) => e.sinceAgoMs)).toEqual([0, 101_000, 102_000, 103_000, 133_000]);
  });

  it('comes back as the same alert within 15 minutes, at the level found, and as a new one after', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 3).tick();
    b.set(LOW, TIRE, 0).tick();
    b.tick(15 * 60 - 1);
    expect(b.set(LOW, TIRE, 1).tick()).toEqual([low('reopened plan')]);
    b.set(LOW, TIRE, 0).tick();
    b.tick(15 * 60);
    expect(b.set(LOW, TIRE, 1).tick()).toEqual([low('raised plan')]);
    expect(b.events.map((e) => e.alert)).toEqual([1, 1, 1, 1, 2]);
    expect(b.events[3]!.urgency).toBe('pull-over');
  });

  it('events of one tick stand in the order of the rule table, then of the layout', () => {
    const b = new BookBench();
    b.set('bus-silent', 'bus/main', 1).set('air-low', 'air/service', 3).set(LOW, 'trailer/1/left/outer', 1);
    b.set(LOW, TIRE, 1).set('brake-dragging', 'trailer/2/left', 2).set('tire-hot', 'tractor/1/left/single', 2);
    expect(b.tick()).toEqual([
      `raised plan ${LOW} ${TIRE}`,
      `raised plan ${LOW} trailer/1/left/outer`,
      'raised next-stop tire-hot tractor/1/left/single',
      'raised next-stop brake-dragging trailer/2/left',
      'raised pull-over air-low air/service',
      'raised plan bus-silent bus/main',
    ]);
  });

  it('lists what is open, worst first, then oldest first', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).tick();
    b.set(LOW, 'tractor/1/left/single', 2).set('air-low', 'air/service', 3).tick();
    b.set(LOW, 'tractor/1/right/single', 1).tick(10);
    const { alerts } = b.book.openDraft(b.t, 'TR-77');
    expect(alerts.map((a) => [a.urgency, a.subject, a.sinceAgoMs])).toEqual([
      ['pull-over', 'air/service', 10_000],
      ['next-stop', 'tractor/1/left/single', 10_000],
      ['plan', TIRE, 11_000],
      ['plan', 'tractor/1/right/single', 9_000],
    ]);
  });

  it('forgets an ended alert after half an hour', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).tick();
    b.set(LOW, TIRE, 0).tick(30 * 60);
    expect(Object.keys(b.state.book.alerts)).toHaveLength(1);
    b.tick(61);
    expect(b.state.book.alerts).toEqual({});
  });
});

describe('chattering', () => {
  /** One fall (or clear) and one rise, `seconds` apart each. */
  const reversal = (b: BookBench, high: 1 | 2, seconds: number, down: 0 | 1 = 0): string[] => [
    ...b.set(LOW, TIRE, down).tick(seconds),
    ...b.set(LOW, TIRE, high).tick(seconds),
  ];

  it('begins at the third reversal in 60 s', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).tick();
    expect(reversal(b, 1, 10)).toEqual([low('cleared plan'), low('reopened plan')]);
    expect(reversal(b, 1, 10)).toEqual([low('cleared plan'), low('reopened plan')]);
    expect(reversal(b, 1, 10)).toEqual([low('cleared plan'), low('reopened plan'), low('chattering plan')]);
    expect(b.book.openDraft(b.t, null).alerts[0]!.chattering).toBe(true);
  });

  it('does not begin with three in 61 s, and begins at the sixth in 30 min', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).tick();
    const changes = () => b.events.filter((e) => e.change === 'chattering').length;
    for (let k = 0; k < 5; k++) reversal(b, 1, 31);
    expect(changes()).toBe(0);
    reversal(b, 1, 31);
    expect(changes()).toBe(1);
  });

  it('does not begin when six take longer than 30 min', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).tick();
    for (let k = 0; k < 12; k++) reversal(b, 1, 185);
    expect(b.events.some((e) => e.change === 'chattering')).toBe(false);
  });

  const chattering = (b: BookBench): void => {
    b.set(LOW, TIRE, 1).tick();
    for (let k = 0; k < 3; k++) reversal(b, 1, 5);
    expect(b.events.at(-1)!.change).toBe('chattering');
  };

  it('withholds falls and clears, announces a new worst level, and counts on', () => {
    const b = new BookBench();
    chattering(b);
    expect(reversal(b, 1, 30)).toEqual([]);
    expect(b.set(LOW, TIRE, 2).tick(5)).toEqual([low('worse next-stop')]);
    expect(reversal(b, 2, 5)).toEqual([]);
    expect(b.set(LOW, TIRE, 3).tick(5)).toEqual([low('worse pull-over')]);
    expect(b.set(LOW, TIRE, 0).tick(5)).toEqual([]);
    expect(b.book.openDraft(b.t, null).alerts[0]!.urgency).toBe('pull-over');
  });

  it('announces a rise above what was last announced, also to a level that was reached long before', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 3).tick();
    b.set(LOW, TIRE, 1).tick();
    for (let k = 0; k < 3; k++) reversal(b, 1, 5);
    expect(b.events.at(-1)!.change).toBe('chattering');
    expect(b.set(LOW, TIRE, 3).tick()).toEqual([low('worse pull-over')]);
  });

  it('begins at the level that holds, not at a lesser one', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 2).tick();
    for (let k = 0; k < 2; k++) reversal(b, 2, 5, 1);
    expect(reversal(b, 2, 5, 1)).toEqual([low('better plan'), low('worse next-stop'), low('chattering next-stop')]);
  });

  it.each([
    [0, low('cleared plan')],
    [1, low('sure plan')],
  ] as const)(
    'ends after 10 min without a reversal with one event for the level that then holds: %d',
    (level, said) => {
      const b = new BookBench();
      chattering(b);
      b.set(LOW, TIRE, level);
      expect(b.tick(594)).toEqual([]);
      expect(b.tick(2)).toEqual([said]);
      expect(b.tick(1000)).toEqual([]);
      expect(b.events.filter((e) => e.change === 'chattering')).toHaveLength(1);
    },
  );

  it('needs ten minutes of evidence: time without data does not count', () => {
    const b = new BookBench();
    chattering(b);
    b.around = PARKED;
    b.set(LOW, TIRE, 0).tick(300);
    b.silence(LOW, TIRE).tick(3000);
    expect(b.events.at(-1)!.change).toBe('chattering');
    b.set(LOW, TIRE, 0);
    expect(b.tick(400)).toEqual([low('cleared plan')]);
  });

  it('never counts unsure and sure', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).tick();
    for (let k = 0; k < 8; k++) {
      b.silence(LOW, TIRE).tick(70);
      b.set(LOW, TIRE, 1).tick(5);
    }
    const changes = b.events.map((e) => e.change);
    expect(changes.filter((c) => c === 'unsure')).toHaveLength(8);
    expect(changes.filter((c) => c === 'sure')).toHaveLength(8);
    expect(changes).not.toContain('chattering');
  });
});

describe('unsure', () => {
  it('after 60 s of stale data while they are expected; sure at the first judgement after', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 2).tick();
    b.silence(LOW, TIRE);
    expect(b.tick(60)).toEqual([]);
    expect(b.tick()).toEqual([low('unsure next-stop')]);
    expect(b.book.openDraft(b.t, null).alerts[0]!.unsure).toBe(true);
    expect(b.tick(600)).toEqual([]);
    expect(b.set(LOW, TIRE, 2).tick()).toEqual([low('sure next-stop')]);
  });

  it('then says what it found, in this order', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 2).tick();
    b.silence(LOW, TIRE).tick(61);
    expect(b.set(LOW, TIRE, 0).tick()).toEqual([low('sure next-stop'), low('cleared next-stop')]);
  });

  it('not while parked, and the time parked does not count', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 2).tick();
    b.silence(LOW, TIRE).tick(50);
    b.around = PARKED;
    expect(b.tick(3600)).toEqual([]);
    b.around = DRIVING;
    expect(b.tick(60)).toEqual([]);
    expect(b.tick()).toEqual([low('unsure next-stop')]);
  });

  it.each([
    ['tire-underinflated', TIRE, 'moving'],
    ['tire-losing-air', TIRE, 'moving'],
    ['tire-hot', TIRE, 'moving'],
    ['duals-unequal', 'tractor/2/left/pair', 'moving'],
    ['brake-overstroke', 'tractor/2/left', 'engineRunning'],
    ['brake-dragging', 'tractor/2/left', 'engineRunning'],
    ['brake-not-applying', 'tractor/2/left', 'engineRunning'],
    ['air-low', 'air/service', 'engineRunning'],
    ['circuits-unequal', 'air/service', 'engineRunning'],
    // A unit tells its active codes once a second (J1939-73): one that has fallen silent is not well for that.
    ['fault-code', 'fault/main/48/117/18', 'engineRunning'],
    ['stop-lamp', 'lamp/main', 'engineRunning'],
  ] as const)('%s expects data while %3$s', (rule, subject, expected) => {
    const b = new BookBench();
    const level = b.judgement(rule).limits[0]!.level;
    b.set(rule, subject, level).tick(40);
    b.silence(rule, subject);
    b.around = { ...DRIVING, [expected]: false };
    expect(b.tick(200)).toEqual([]);
    b.around = { ...PARKED, [expected]: true };
    expect(b.tick(61).map((line) => line.split(' ')[0])).toEqual(['unsure']);
  });

  it('blind makes all equipment alerts unsure at once, and system alerts not', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).set('air-low', 'air/service', 3).set('tire-sensor-silent', TIRE, 1).tick(30);
    b.around = { ...PARKED, blind: true };
    expect(b.tick()).toEqual([low('unsure plan'), 'unsure pull-over air-low air/service']);
    b.around = DRIVING;
    expect(b.tick()).toEqual([low('sure plan'), 'sure pull-over air-low air/service']);
  });
});

describe('causes', () => {
  it.each([
    ['circuits-unequal', 'air/service', 'air-low', 'air/service', true],
    ['compressor-overworked', 'air/supply', 'air-leaking', 'air/supply', true],
    ['air-builds-slowly', 'air/supply', 'air-leaking', 'air/supply', true],
    ['air-cut-in-low', 'air/supply', 'air-leaking', 'air/supply', false],
    ['duals-unequal', 'tractor/2/left/pair', 'tire-losing-air', 'tractor/2/left/inner', true],
    ['duals-unequal', 'tractor/2/left/pair', 'tire-losing-air', 'tractor/2/right/inner', false],
    ['fault-code', 'fault/main/51/241/1', 'tire-underinflated', TIRE, true],
    ['fault-code', 'fault/main/51/242/0', 'tire-hot', TIRE, true],
    ['fault-code', 'fault/main/48/117/1', 'air-low', 'air/service', true],
    ['fault-code', 'fault/main/48/117/1', 'tire-hot', TIRE, false],
  ] as const)('%s %s is explained by %s %s: %s', (rule, subject, cause, causeSubject, explained) => {
    const b = new BookBench();
    const levelOf = (name: typeof rule | typeof cause) => b.judgement(name).limits[0]!.level;
    b.set(rule, subject, levelOf(rule)).tick();
    b.set(cause, causeSubject, levelOf(cause)).tick();
    const [first, second] = b.events;
    expect([first!.cause, second!.cause]).toEqual([null, null]);
    const listed = b.book.openDraft(b.t, null).alerts.find((a) => a.rule === rule)!;
    expect(listed.cause).toBe(explained ? second!.alert : null);
    b.set(rule, subject, 0).tick();
    expect(b.events.at(-1)).toMatchObject({ rule, change: 'cleared', cause: explained ? second!.alert : null });
  });

  it('an ended cause explains nothing', () => {
    const b = new BookBench();
    b.set('air-low', 'air/service', 3).tick();
    b.set('air-low', 'air/service', 0).tick(40);
    b.set('circuits-unequal', 'air/service', 2).tick();
    expect(b.events.at(-1)).toMatchObject({ rule: 'circuits-unequal', cause: null });
  });
});

describe('closing', () => {
  it.each(['unit-gone', 'position-changed', 'rule-changed', 'sensor-replaced', 'said-repaired'] as const)(
    '%s: the next tick says so, and the same condition raises a new alert',
    (reason) => {
      const b = new BookBench();
      b.set(LOW, TIRE, 2).tick();
      b.set(LOW, TIRE, 1).tick();
      b.book.close((a) => (a.subject === TIRE ? reason : null));
      expect(b.tick()).toEqual([`${low('closed next-stop')} (${reason})`]);
      expect(b.events.at(-1)).toMatchObject({ change: 'closed', was: 'plan', reason, alert: 1 });
      expect(b.judgement(LOW).level(b.judgement(LOW).subjects[b.judgement(LOW).find(TIRE)]!)).toBe(0);
      expect(b.tick(10)).toEqual([]);
      expect(b.set(LOW, TIRE, 1).tick()).toEqual([low('raised plan')]);
      expect(b.events.at(-1)!.alert).toBe(2);
    },
  );

  it('tells what the monitor has counted to start anew', () => {
    const b = new BookBench();
    const told: string[] = [];
    b.judgement('tire-sensor-silent').onReset = (s) => told.push(s.name);
    b.set('tire-sensor-silent', TIRE, 1).tick();
    b.book.close(() => 'said-repaired');
    b.tick();
    expect(told).toEqual([TIRE]);
  });

  it('stands in its place among the events of the tick', () => {
    const b = new BookBench();
    b.set('tire-hot', TIRE, 2).set('bus-silent', 'bus/main', 1).tick();
    b.book.close((a) => (a.rule === 'tire-hot' ? 'rule-changed' : null));
    b.set(LOW, TIRE, 1).set('air-low', 'air/service', 3);
    expect(b.tick()).toEqual([
      low('raised plan'),
      `closed next-stop tire-hot ${TIRE} (rule-changed)`,
      'raised pull-over air-low air/service',
    ]);
  });

  it('ends an alert that is unsure, withheld or chattering all the same', () => {
    const b = new BookBench();
    b.set(LOW, TIRE, 1).tick();
    for (let k = 0; k < 3; k++) {
      b.set(LOW, TIRE, 0).tick(5);
      b.set(LOW, TIRE, 1).tick(5);
    }
    b.silence(LOW, TIRE).tick(61);
    b.book.close(() => 'unit-gone');
    expect(b.tick()).toEqual([`${low('closed plan')} (unit-gone)`]);
    expect(b.book.openDraft(b.t, null).alerts).toEqual([]);
  });
});
