import { describe, expect, it } from 'vitest';
import { BookBench, DRIVING, PARKED } from '../../support/book-bench.js';

const TIRE = 'tractor/2/left/outer';
const LOW = 'tire-underinflated';

describe('an alert that was open before the restart', () => {
  const restarted = (): BookBench => {
    const before = new BookBench();
    before.set(LOW, TIRE, 2).tick();
    return before.restarted(60_000);
  };

  it('says nothing until its own subject has been judged on fresh data', () => {
    const b = restarted();
    b.set('tire-losing-air', TIRE, 0).set(LOW, 'tractor/1/left/single', 0);
    b.around = PARKED;
    expect(b.tick(3600)).toEqual([]);
    expect(b.set(LOW, TIRE, 2).tick(20)).toEqual([]);
    expect(b.set(LOW, TIRE, 3).tick()).toEqual([`worse pull-over ${LOW} ${TIRE}`]);
    expect(b.events[0]!.alert).toBe(1);
  });

  it('says at its first judgement that it is over', () => {
    const b = restarted();
    b.tick(30);
    expect(b.set(LOW, TIRE, 0).tick()).toEqual([`cleared next-stop ${LOW} ${TIRE}`]);
  });

  it('becomes unsure after 60 s of driving without data, counted from the start', () => {
    const b = restarted();
    expect(b.tick(60)).toEqual([]);
    expect(b.tick()).toEqual([`unsure next-stop ${LOW} ${TIRE}`]);
    expect(b.set(LOW, TIRE, 2).tick()).toEqual([`sure next-stop ${LOW} ${TIRE}`]);
  });

  it('that was unsure or whose data were missing before goes on from there, not from the time down', () => {
    const before = new BookBench();
    before.set(LOW, TIRE, 2).tick();
    before.silence(LOW, TIRE).tick(40);
    const b = before.restarted(86_400_000);
    expect(b.tick(60)).toEqual([]);
    expect(b.tick()).toEqual([`unsure next-stop ${LOW} ${TIRE}`]);
    const again = b.restarted(1000);
    expect(again.tick(600)).toEqual([]);
    expect(again.set(LOW, TIRE, 2).tick()).toEqual([`sure next-stop ${LOW} ${TIRE}`]);
  });

  it('is listed as it was', () => {
    expect(restarted().book.openDraft(0, null).alerts).toMatchObject([
      { alert: 1, rule: LOW, urgency: 'next-stop', unsure: false, sinceAgoMs: 60_000 },
    ]);
  });
});

describe('a new alert after a start', () => {
  it('follows the ordinary rules from the first tick', () => {
    const b = new BookBench().restarted(1000);
    expect(b.set('air-low', 'air/service', 3).tick()).toEqual(['raised pull-over air-low air/service']);
  });

  it('that has a cause waits until the rule of the cause was judged once', () => {
    const b = new BookBench().restarted(1000);
    b.set('duals-unequal', 'tractor/2/left/pair', 1);
    expect(b.tick(10)).toEqual([]);
    b.set('tire-losing-air', 'tractor/1/left/single', 0);
    expect(b.tick()).toEqual(['raised plan duals-unequal tractor/2/left/pair']);
  });

  it.each([
    ['circuits-unequal', 'air/service', 2],
    ['duals-unequal', 'tractor/2/left/pair', 1],
    [LOW, TIRE, 1],
    ['fault-code', 'fault/main/51/241/1', 1],
  ] as const)('waits for it 20 s at most: %s', (rule, subject, level) => {
    const b = new BookBench().restarted(1000);
    b.set(rule, subject, level);
    expect(b.tick(19)).toEqual([]);
    expect(b.tick()).toHaveLength(1);
  });

  it('reopens what was cleared less than 15 min ago by the clock of both runs', () => {
    const cleared = (downMs: number): string[] => {
      const before = new BookBench();
      before.set('tire-hot', TIRE, 2).tick();
      before.set('tire-hot', TIRE, 0).tick(60);
      const b = before.restarted(downMs);
      b.around = DRIVING;
      return b.set('tire-hot', TIRE, 2).tick();
    };
    expect(cleared(14 * 60_000 - 2_000)).toEqual([`reopened next-stop tire-hot ${TIRE}`]);
    expect(cleared(14 * 60_000 + 2_000)).toEqual([`raised next-stop tire-hot ${TIRE}`]);
  });
});
