import { describe, expect, it } from 'vitest';
import { Life, newLife } from '../../../daemon/truck/life.js';
import { Minutes, newMinutes } from '../../../daemon/truck/minutes.js';
import { newReports, Reports } from '../../../daemon/truck/reports.js';
import { drive } from '../../support/drive.js';
import { Rig } from '../../support/rig.js';

describe('life (design.md, "Life")', () => {
  /** Ticks 1…seconds after a last frame at lastAt; gives `second state` and `second quiet`. */
  function lifeAfter(lastAt: number, speed: { kmh: number; at: number } | null, seconds: number): string[] {
    const life = new Life(newLife(1));
    if (speed !== null) life.speed(speed.at, speed.kmh);
    const said: string[] = [];
    let heard = false;
    for (let t = 1000; t <= lastAt + seconds * 1000; t += 1000) {
      if (t > lastAt && !heard) {
        life.frame(lastAt, 0);
        heard = true;
      } else if (!heard) life.frame(t - 500, 0);
      const { state, wentQuiet } = life.tick(t);
      if (wentQuiet) said.push(`${t / 1000} quiet`);
      if (state !== null) said.push(`${t / 1000} ${state}`);
    }
    return said;
  }

  it('quiet after 1 s, parked after 10 s, asleep 60 s later', () => {
    expect(lifeAfter(20_000, { kmh: 0, at: 19_000 }, 200)).toEqual(['21 quiet', '30 parked', '90 asleep']);
    expect(lifeAfter(20_001, { kmh: 0, at: 19_000 }, 200)).toEqual(['22 quiet', '31 parked', '91 asleep']);
  });

  it.each([
    ['4.99 km/h is parked', { kmh: 4.99, at: 19_900 }, 'parked'],
    ['5 km/h is blind', { kmh: 5, at: 19_900 }, 'blind'],
    ['a speed of 5 s before the last frame still counts', { kmh: 80, at: 15_000 }, 'blind'],
    ['an older one does not', { kmh: 80, at: 14_999 }, 'parked'],
    ['no speed at all is parked', null, 'parked'],
  ])('%s', (_, speed, state) => {
    expect(lifeAfter(20_000, speed, 15)).toEqual(['21 quiet', `30 ${state}`]);
  });

  it('blind does not sleep for 15 min', () => {
    expect(lifeAfter(20_000, { kmh: 80, at: 20_000 }, 2000).at(-1)).toBe(`${30 + 900} asleep`);
  });

  it('a frame wakes it, and the next tick says so once', () => {
    const life = new Life(newLife(2));
    for (let t = 1000; t <= 100_000; t += 1000) life.tick(t);
    expect(life.isAsleep).toBe(true);
    life.frame(100_500, 1);
    expect(life.data.busFrameAt).toEqual([0, 100_500]);
    expect([life.tick(101_000).state, life.tick(101_400).state]).toEqual(['awake', null]);
  });
});

describe('minutes', () => {
  it('least, greatest, last and number of each quantity; quantities without a reading have no row', () => {
    const minutes = new Minutes(newMinutes());
    const [a, b] = [minutes.slot('x', 'pressure'), minutes.slot('y', 'pressure')];
    for (const value of [5, 3, 9, 4]) minutes.add(a, value);
    expect([minutes.isDue(59_000), minutes.isDue(60_000)]).toEqual([false, true]);
    expect(minutes.take(60_000)).toEqual([
      { subject: 'x', quantity: 'pressure', t: 0, min: 3, max: 9, last: 4, count: 4 },
    ]);
    minutes.add(b, -1);
    expect(minutes.take(120_000)).toEqual([
      { subject: 'y', quantity: 'pressure', t: 60_000, min: -1, max: -1, last: -1, count: 1 },
    ]);
  });

  it('in the pipeline: every reading in one row, all at once when the bus goes quiet, and none dated before a sleep', () => {
    const standing = () => ({ kmh: 0, rpm: 600, parkingBrake: true });
    const rig = new Rig().feed(drive(0, 100, standing)).advance(5_000_000);
    rig.feed(drive(5_000, 5_100, standing)).advance(5_200_000);
    const rows = rig.effects
      .flatMap((e) => e.history)
      .filter((r) => r.quantity === 'pressure' && r.subject === 'air/primary');
    expect(rows.map((r) => [r.t, r.count])).toEqual([
      [0, 60],
      [60_000, 40],
      [5_000_000, 60],
      [5_060_000, 40],
    ]);
  });

  it('after a restart nothing is told twice or with a time of the run before', () => {
    const first = new Rig().feed(drive(0, 90, () => ({}))).advance(90_000);
    const state = first.saved(90_000);
    const rig = new Rig(first.config, { kind: 'restart', state, downMs: 1000 }).feed(drive(0, 61, () => ({})));
    const rows = rig.effects.flatMap((e) => e.history).filter((r) => r.subject === 'air/primary');
    expect(rows.map((r) => [r.t, r.count])).toEqual([[0, 60]]);
  });
});

describe('readings for the office', () => {
  /** Seconds at which a report is due. */
  function due(
    seconds: number,
    at: (s: number, reports: Reports) => string,
    entered: Record<number, 'parked'> = {},
  ): number[] {
    const reports = new Reports(newReports());
    const out: number[] = [];
    for (let s = 1; s <= seconds; s++) {
      const quality = at(s, reports);
      const life = Object.keys(entered).some((k) => s >= Number(k)) ? 'parked' : 'awake';
      if (reports.isDue(s * 1000, life, entered[s] ?? null, () => quality)) out.push(s);
    }
    return out;
  }

  it('every five minutes while awake, once when parked, then no more', () => {
    expect(due(1500, () => '+', { 1000: 'parked' })).toEqual([1, 301, 601, 901, 1000]);
  });

  it('on a change of quality, at most each 30 s', () => {
    const times = due(290, (s) => (s < 100 ? '+' : s % 2 === 0 ? '+-' : '-+'));
    expect(times[0]).toBe(1);
    expect(times[1]).toBeGreaterThanOrEqual(100);
    expect(times[1]).toBeLessThanOrEqual(130);
    for (let i = 1; i < times.length; i++) expect(times[i]! - times[i - 1]!).toBeGreaterThanOrEqual(30);
  });

  it.each([
    [1, []],
    [2, 15],
    [3, 15],
  ] as const)('each minute for 15 min after an alert of level %d', (level, minutes) => {
    const times = due(2400, (s, reports) => {
      if (s === 400) reports.alert(400_000, level);
      return '+';
    });
    const after = times.filter((s) => s > 400 && s <= 400 + 15 * 60);
    if (minutes === 15) {
      expect(after).toHaveLength(15);
      for (let i = 1; i < after.length; i++) expect(after[i]! - after[i - 1]!).toBe(60);
      expect(times.filter((s) => s > 1300).map((s, i, all) => (i === 0 ? 300 : s - all[i - 1]!))).toEqual(
        [300, 300, 300, 300].slice(0, times.filter((s) => s > 1300).length),
      );
    } else expect(times).toEqual([1, 301, 601, 901, 1201, 1501, 1801, 2101]);
  });

  it('in the pipeline: values of every subject that was heard', () => {
    const rig = new Rig().feed(drive(0, 400, () => ({}))).advance(400_000);
    const reports = rig.effects.flatMap((e) => (e.reading === null ? [] : [e.reading]));
    expect(reports[0]!.t).toBe(1000);
    // Ten brakes, two circuits and two tires at once; all tires within ten seconds: one more report, then the five minutes.
    expect(reports.map((r) => Object.keys(r.r).length)).toEqual([14, 30, 30]);
    expect(reports[1]!.r['tractor/2/left/outer']).toEqual([688, 688, 18, expect.any(Number)]);
  });
});
