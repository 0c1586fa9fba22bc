import { describe, expect, it } from 'vitest';
import { canonicalEvent } from '../../../daemon/alerts/rendering.js';
import { makeId } from '../../../daemon/j1939/identifier.js';
import { Room } from '../../../report/gather/room.js';
import type { Gathered } from '../../../report/gathered.js';
import { dm1Payload } from '../../../simulator/encode.js';
import { drive, troubled } from '../../support/drive.js';
import { type Frame, frameOf, Rig } from '../../support/rig.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';
import { Bench, SYNCED, ZERO_MS } from './support.js';

const moving = () => ({});
const standing = () => ({ kmh: 0, rpm: 600, parkingBrake: true });
const TROUBLED_S = 2400;

const troubledRun = (async () => {
  const bench = await new Bench()
    .run()
    .feed(drive(0, TROUBLED_S, troubled))
    .end(TROUBLED_S * 1000);
  return { bench, gathered: bench.gathered() };
})();
/** The same without anybody who looks on. */
const alone = new Rig(truckOf(), null, ZERO_MS).feed(drive(0, TROUBLED_S, troubled)).advance(TROUBLED_S * 1000);

/** Seconds since the first run's zero. */
const s = (ms: number): number => (ms - ZERO_MS) / 1000;
const gapsOf = ({ gaps }: Gathered): number[][] => gaps.map(({ fromMs, toMs }) => [s(fromMs), s(toMs)]);
const lifeOf = ({ life }: Gathered): string[] => life.map(({ atMs, state }) => `${s(atMs)} ${state}`);

describe('silence', () => {
  const silentFor = async (from: number, to: number, how: typeof moving | typeof standing, end = to + 60) =>
    (
      await new Bench()
        .run()
        .feed(drive(0, from, how))
        .feed(drive(to, end, how))
        .end(end * 1000)
    ).gathered();

  it('of 3 s and more on the road is a gap, up to the second in which something is heard again', async () => {
    expect(gapsOf(await silentFor(100, 105, moving))).toEqual([[99.95, 105]]);
    expect(gapsOf(await silentFor(100, 103, moving))).toEqual([[99.95, 103]]);
    expect(gapsOf(await silentFor(100, 102, moving))).toEqual([]);
  });

  it('of a truck that went blind is a gap, however long, also when the program has fallen asleep in it', async () => {
    const blind = await silentFor(100, 400, moving);
    expect([gapsOf(blind), lifeOf(blind)]).toEqual([[[99.95, 400]], ['110 blind', '401 awake']]);
    const asleep = await silentFor(100, 5000, moving);
    expect([gapsOf(asleep), lifeOf(asleep)]).toEqual([[[99.95, 5000]], ['110 blind', '1010 asleep', '5001 awake']]);
  });

  it('of a truck that stands is none: it is parked, and then asleep', async () => {
    const parked = await silentFor(100, 5000, standing);
    expect([gapsOf(parked), lifeOf(parked)]).toEqual([[], ['110 parked', '170 asleep', '5001 awake']]);
  });

  it('of a bus that says something only now and then is a gap where it is longer than usual', async () => {
    const speeds = function* (): Generator<Frame> {
      for (let second = 0; second < 600; second += 5) {
        if (second >= 300 && second < 320) continue;
        yield frameOf(second * 1000 + 520, 65265, 0, { 84: 80 });
      }
    };
    expect(gapsOf((await new Bench().run().feed(speeds()).end(600_000)).gathered())).toEqual([[295.52, 320]]);
  });

  it('up to the end of the data is a gap where the truck was moving', async () => {
    const end = async (how: typeof moving) =>
      gapsOf(
        (
          await new Bench()
            .run()
            .feed(drive(0, 100, how))
            .end(160_000)
        ).gathered(),
      );
    expect(await end(moving)).toEqual([[99.95, 160]]);
    expect(await end(standing)).toEqual([]);
  });
});

describe('events', () => {
  it('are the same whether somebody looks on or not, and so is all that is known', async () => {
    const { bench, gathered } = await troubledRun;
    expect(alone.canonical().length).toBeGreaterThan(30);
    expect(bench.events).toEqual(alone.canonical());
    expect(bench.session.pipeline.snapshot(TROUBLED_S * 1000)).toEqual(alone.pipeline.snapshot(TROUBLED_S * 1000));
    const { events } = gathered;
    expect(events.map(({ draft }) => canonicalEvent(draft))).toEqual(bench.events);
    expect(events.filter(({ atMs, draft }) => atMs !== ZERO_MS + draft.t)).toEqual([]);
  });

  it('have the ids of numbered events: one for each alert, and that of what explains it', async () => {
    const { events } = (await troubledRun).gathered;
    const ids = new Map(events.map(({ draft, alert }) => [draft.alert, alert]));
    for (const [i, { alert, cause, draft }] of events.entries()) {
      if (draft.change === 'raised') expect(alert).toBe(`T-1042.replay.${i + 1}`);
      expect(alert).toBe(ids.get(draft.alert));
      expect(cause).toBe(draft.cause === null ? null : ids.get(draft.cause));
    }
    expect(events.some(({ cause }) => cause !== null)).toBe(true);
    expect(new Set(ids.values()).size).toBe(ids.size);
  });

  it('get their ids also when these come later, as from a store', () => {
    const bench = new Bench().run();
    const told: string[] = [];
    for (const effects of alone.effects) bench.gatherer.tick(effects.t, bench.session.pipeline, effects);
    for (const [i] of alone.events.entries()) {
      told.push(`id ${i}`);
      bench.gatherer.named([{ alertId: `id ${i}`, causeId: null }]);
    }
    bench.gatherer.end(TROUBLED_S * 1000);
    expect(bench.gathered().events.map(({ alert }) => alert)).toEqual(told);
  });
});

describe('muted findings', () => {
  it('last from the list that has them to the one that has them no more', async () => {
    // Second by second: what the last list says.
    const seconds = new Map<string, number[]>();
    const lists = alone.effects.flatMap(({ t, open }) => (open === null ? [] : [{ t, muted: open.muted }]));
    for (let t = 1000, next = 0; t <= TROUBLED_S * 1000; t += 1000) {
      while (next < lists.length && lists[next]!.t <= t) next++;
      for (const { rule, subject, by } of lists[next - 1]?.muted ?? []) {
        const key = `${rule} ${subject} ${by}`;
        seconds.set(key, [...(seconds.get(key) ?? []), t / 1000]);
      }
    }
    const ours = new Map<string, number[]>();
    for (const { fromMs, toMs, rule, subject, by } of (await troubledRun).gathered.muted) {
      const key = `${rule} ${subject} ${by}`;
      for (let at = s(fromMs); at < s(toMs); at++) ours.set(key, [...(ours.get(key) ?? []), at]);
    }
    expect(seconds.size).toBeGreaterThan(0);
    // A list that holds at the very end has a span up to it, the last second not counted.
    const counted = [...seconds].map(([key, list]) => [key, list.filter((at) => at < TROUBLED_S)] as const);
    expect([...ours].sort()).toEqual(counted.filter(([, list]) => list.length > 0).sort());
  });
});

describe('runs', () => {
  it('a reload parts a run, and nothing of the readings is lost or told twice', async () => {
    const other = truckOf(`${LAYOUT}rules: {tire-underinflated: {levels: {plan: {raise: 89 %}}}}\n`);
    const plain = (
      await new Bench()
        .run()
        .feed(drive(0, 400, moving))
        .end(400_000)
    ).gathered();
    const bench = new Bench().run().feed(drive(0, 200, moving));
    bench.session.rare({ t: 200_000, kind: 'reload', config: other });
    const gathered = (await bench.feed(drive(200, 400, moving)).end(400_000)).gathered();
    expect(gathered.runs.map(({ fromMs, toMs, config }) => [s(fromMs), s(toMs), config])).toEqual([
      [0, 200, truckOf().hash],
      [200, 400, other.hash],
    ]);
    expect(gathered.config).toBe(other);
    expect(gathered.samples).toEqual(plain.samples);
  });

  const twice = async (how: typeof moving, downMs: number | null = 100_000) => {
    const bench = await new Bench()
      .run()
      .feed(drive(0, 300, how))
      .end(300_000);
    const left = { pipeline: bench.session.pipeline, t: 300_000, downMs };
    const later = { zeroWallMs: ZERO_MS + 400_000, synced: true };
    await bench
      .run(truckOf(), later, left)
      .feed(drive(0, 200, how))
      .end(200_000);
    return bench.gathered();
  };

  it('follow on each other by the wall clock; what was told before a start is no reading of it', async () => {
    const { runs, samples, minutes } = await twice(moving);
    expect(runs.map(({ fromMs, toMs }) => [s(fromMs), s(toMs)])).toEqual([
      [0, 300],
      [400, 600],
    ]);
    const { atMs } = samples.get('tractor speed')!;
    expect([atMs.length, s(atMs[0]!), s(atMs[299]!), s(atMs[300]!)]).toEqual([500, 0.52, 299.52, 400.52]);
    for (const series of [...samples.values(), ...minutes.values()])
      expect(series.atMs).toEqual([...series.atMs].sort((a, b) => a - b));
  });

  it('that end on the road leave a gap until the next one; those that end standing do not', async () => {
    expect(gapsOf(await twice(moving))).toEqual([[300, 400]]);
    expect(gapsOf(await twice(standing))).toEqual([]);
  });

  it('a trip that goes on is told as far as it has got, once', async () => {
    // Also where nobody knows how long the program was down.
    for (const downMs of [100_000, null]) {
      const { trips } = await twice(moving, downMs);
      expect(
        trips.map(({ record, startMs, endMs }) => [record.trip, record.provisional, s(startMs), s(endMs)]),
      ).toEqual([
        [1, false, 1, 299.95],
        [2, true, 401, 600],
      ]);
    }
  });
});

describe('clocks', () => {
  it('stamps that jump back: the last clock is believed, order and lengths of time stay, and a note says so', async () => {
    const plain = (
      await new Bench()
        .run()
        .feed(drive(0, 100, moving))
        .feed(drive(101, 200, moving))
        .end(200_000)
    ).gathered();
    const bench = new Bench().run().feed(drive(0, 100, moving));
    bench.session.seam(100_000, ZERO_MS - 50_000);
    const { samples, runs, trips, notes } = (await bench.feed(drive(101, 200, moving)).end(200_000)).gathered();
    expect(runs.map(({ fromMs, toMs }) => [s(fromMs), s(toMs)])).toEqual([[-50, 150]]);
    for (const [key, { atMs, value }] of samples) {
      const { atMs: at, value: v } = plain.samples.get(key)!;
      expect([key, atMs]).toEqual([key, at.map((ms) => ms - 50_000)]);
      // The barometer is not fresh after a seam.
      if (!key.endsWith('cold pressure')) expect([key, value]).toEqual([key, v]);
    }
    expect(trips.map(({ startMs, endMs }) => [s(startMs), s(endMs)])).toEqual([[-49, 150]]);
    expect(notes).toEqual([
      'The stamps jump back by 50.0 s, from 2026-03-02 13:01:40 UTC to 2026-03-02 13:00:50 UTC: the clock was set. What came before is told by the new clock.',
    ]);
  });

  it('a clock that is set from 1970 to the present makes no hole of decades', async () => {
    const bench = new Bench().run(truckOf(), { zeroWallMs: 3_600_000, synced: false }).feed(drive(0, 100, moving));
    const at = ZERO_MS - 3_600_000;
    const later = [...drive(0, 100, moving)].map((frame) => ({ ...frame, t: frame.t + at }));
    const { runs, gaps, samples, life, notes } = (await bench.feed(later).end(at + 100_000)).gathered();
    // It went blind at 110 s and asleep 15 min later: so long it was silent for certain.
    expect(gaps.map(({ fromMs, toMs }) => [s(fromMs), s(toMs)])).toEqual([[-910.05, 0]]);
    expect(runs.map(({ fromMs, toMs }) => [s(fromMs), s(toMs)])).toEqual([[-1010, 100]]);
    expect(life.map(({ atMs, state }) => [s(atMs), state])).toEqual([
      [-900, 'blind'],
      [0, 'asleep'],
      [1, 'awake'],
    ]);
    const { atMs } = samples.get('tractor speed')!;
    expect([s(atMs[0]!), s(atMs[99]!), s(atMs[100]!), s(atMs.at(-1)!)]).toEqual([-1009.48, -910.48, 0.52, 99.52]);
    expect(notes.join()).toContain('jump ahead to 2026-03-02 13:00:01 UTC from a clock that had not been set');
  });

  it('a clock that becomes known in a run gives its time to all of it', async () => {
    const bench = new Bench().run(truckOf(), { zeroWallMs: 0, synced: false }).feed(drive(0, 100, troubled));
    bench.session.setRun(SYNCED);
    const gathered = (await bench.feed(drive(100, 200, troubled)).end(200_000)).gathered();
    const plain = (
      await new Bench()
        .run()
        .feed(drive(0, 200, troubled))
        .end(200_000)
    ).gathered();
    expect(gathered.samples).toEqual(plain.samples);
    expect(gathered.runs).toEqual(plain.runs);
    expect(gathered.runs[0]!.synced).toBe(true);
  });
});

describe('a report that begins later (--from)', () => {
  it('has nothing of before, and all of what comes after', async () => {
    const whole = (
      await new Bench()
        .run()
        .feed(drive(0, TROUBLED_S, troubled))
        .end(TROUBLED_S * 1000)
    ).gathered();
    const bench = new Bench({ fromT: 1_000_000 }).run().feed(drive(0, TROUBLED_S, troubled));
    const late = (await bench.end(TROUBLED_S * 1000)).gathered();
    const isAfter = (at: number): boolean => at >= ZERO_MS + 1_000_000;
    expect(late.runs.map(({ fromMs, toMs }) => [s(fromMs), s(toMs)])).toEqual([[1000, TROUBLED_S]]);
    expect(late.events).toEqual(whole.events.filter(({ atMs }) => isAfter(atMs)));
    expect(late.events.length).toBeGreaterThan(10);
    expect(late.records).toEqual(whole.records.filter(({ endMs }) => isAfter(endMs)));
    expect(late.gaps).toEqual(whole.gaps.filter(({ toMs }) => isAfter(toMs)));
    expect([...late.samples.keys()]).toEqual([...whole.samples.keys()]);
    for (const [key, { atMs }] of late.samples)
      expect([key, atMs]).toEqual([key, whole.samples.get(key)!.atMs.filter(isAfter)]);
    expect(late.trips).toEqual(whole.trips);
  });
});

describe('more than there is room for', () => {
  const LONG_S = 3 * 3600;

  /** Speed and engine speed once a second, with a hole and two peaks; the red stop lamp for a minute. */
  function* long(): Generator<Frame> {
    for (let second = 0; second < LONG_S; second++) {
      if (second >= 1200 && second < 1208) continue;
      const kmh = second === 600 ? 97 : second === 700 ? 43 : 80 + (second % 3);
      yield frameOf(second * 1000 + 17, 61444, 0, { 190: 1300 });
      yield frameOf(second * 1000 + 520, 65265, 0, { 84: kmh });
      const lamp = dm1Payload(second >= 5400 && second < 5460 ? 'red' : 'none', []);
      yield { t: second * 1000 + 700, id: makeId({ priority: 6, pgn: 65226, source: 48 }), data: lamp };
    }
  }

  it('readings are thinned but for the hour around alerts: extremes and ends of holes stay, and the report says so', async () => {
    const room = new Room({ readings: 16_800, minutes: 1e6 });
    const quiet = 'rules: {tire-sensor-silent: {enabled: no}, trailer-not-seen: {enabled: no}}';
    const bench = new Bench({ room }).run(truckOf(`${LAYOUT}${quiet}\n`)).feed(long());
    const { samples, events, notes } = (await bench.end(LONG_S * 1000)).gathered();
    expect(events[0]!.draft.rule).toBe('stop-lamp');
    expect([...samples.values()].reduce((sum, { atMs }) => sum + atMs.length, 0)).toBeLessThanOrEqual(16_800);
    const { atMs, value, joinMs } = samples.get('tractor speed')!;
    const within = (from: number, to: number) => atMs.filter((at) => s(at) >= from && s(at) < to).length;
    expect(within(3700, 7100)).toBe(3400);
    expect(within(1300, 3300)).toBeLessThanOrEqual(1004);
    const apart = atMs.slice(1).map((at, i) => at - atMs[i]!);
    expect(apart.filter((ms) => ms > joinMs!)).toEqual([9000]);
    expect([Math.min(...value), Math.max(...value)]).toEqual([43, 97]);
    expect(atMs.filter((at) => s(at) > 1199 && s(at) < 1209).map(s)).toEqual([1199.52, 1208.52]);
    expect(notes.join()).toContain('too many readings');
    expect(room.everywhere).toBe(false);
  });

  it('where alerts are everywhere they are thinned everywhere', async () => {
    const room = new Room({ readings: 10_000, minutes: 1e6 });
    const bench = new Bench({ room }).run().feed(drive(0, 1500, troubled));
    const { samples } = (await bench.end(1_500_000)).gathered();
    expect([...samples.values()].reduce((sum, { atMs }) => sum + atMs.length, 0)).toBeLessThanOrEqual(10_000);
    expect(room.everywhere).toBe(true);
  });

  it('minutes become longer, with the least, greatest and last of both', async () => {
    const whole = (
      await new Bench()
        .run()
        .feed(drive(0, 1800, troubled))
        .end(1_800_000)
    ).gathered();
    const bench = new Bench({ room: new Room({ readings: 1e6, minutes: 1000 }) }).run().feed(drive(0, 1800, troubled));
    const { minutes, notes } = (await bench.end(1_800_000)).gathered();
    expect([...minutes.values()].reduce((sum, { atMs }) => sum + atMs.length, 0)).toBeLessThanOrEqual(1000);
    for (const [key, { min, max, last }] of minutes) {
      const all = whole.minutes.get(key)!;
      expect([key, Math.min(...min), Math.max(...max)]).toEqual([key, Math.min(...all.min), Math.max(...all.max)]);
      expect(last.at(-1)).toBe(all.last.at(-1));
    }
    expect(notes.join()).toContain('too many minutes');
  });
});
