import { execFileSync, spawnSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import { isJ1939, pgnOf, sourceOf } from '../../../daemon/j1939/identifier.js';
import { LOGS, readLog, type StampedFrame, shared } from '../j1939/helpers.js';
import { reportOf, surveyOf } from './helpers.js';

/* Counts and intervals of recordings of real vehicles, against a second count and against an independent decoder. */

const missing = spawnSync('tshark', ['--version']).status !== 0;
const required = process.env.CI === 'true';

/** Frames by `sa pgn`, with the times between them in the order of time. */
function naive(frames: readonly StampedFrame[]): Map<string, { count: number; gaps: number[]; lastAt: number }> {
  const all = new Map<string, { count: number; gaps: number[]; lastAt: number }>();
  for (const { t, id } of frames) {
    if (!isJ1939(id)) continue;
    const key = `${sourceOf(id)} ${pgnOf(id)}`;
    const seen = all.get(key) ?? { count: 0, gaps: [], lastAt: t };
    if (seen.count > 0) seen.gaps.push(t - seen.lastAt);
    all.set(key, { count: seen.count + 1, gaps: seen.gaps, lastAt: t });
  }
  return all;
}

function lowerMedian(gaps: readonly number[]): number | null {
  const sorted = [...gaps].sort((a, b) => a - b);
  return sorted[Math.ceil(sorted.length / 2) - 1] ?? null;
}

/** A survey's own counts of single frames, and medians, by `sa pgn`. */
function counted(
  frames: readonly StampedFrame[],
): Map<string, { count: number; medianMs: number | null; long: number }> {
  const found = new Map<string, { count: number; medianMs: number | null; long: number }>();
  for (const sender of surveyOf(frames).buses[0]!.senders) {
    for (const { pgn, count, long, intervals } of sender?.groups.values() ?? [])
      if (count > long)
        found.set(`${sender!.sa} ${pgn}`, { count: count - long, medianMs: intervals.quantile(0.5), long });
    for (const { pgn, count, intervals } of sender?.others.values() ?? [])
      found.set(`${sender!.sa} ${pgn}`, { count, medianMs: intervals.quantile(0.5), long: 0 });
  }
  return found;
}

/** Fuzzed identifiers are more than are told apart. */
const ORDINARY = LOGS.filter((log) => !log.includes('fuzz'));

for (const log of ORDINARY) {
  const file = shared(`data/${log}.log`);
  describe.skipIf(file.absent)(`${log}.log${file.why}`, () => {
    it('has for each sender the groups, counts and median intervals of a second count', () => {
      const frames = readLog(file.path);
      const [ours, theirs] = [counted(frames), naive(frames)];
      expect([...ours.keys()].sort()).toEqual([...theirs.keys()].sort());
      expect(theirs.size).toBeGreaterThan(20);
      for (const [key, { count, gaps }] of theirs) {
        const { medianMs, long, ...rest } = ours.get(key)!;
        expect({ key, count: rest.count }).toEqual({ key, count });
        // Long messages lie between the single ones.
        if (long > 0) continue;
        const median = lowerMedian(gaps);
        if (median === null || median < 2048) expect({ key, medianMs }).toEqual({ key, medianMs: median });
        else expect(Math.abs(medianMs! - median) / median, key).toBeLessThanOrEqual(0.002);
      }
    });
  });
}

const road = shared('data/road-truck/normal.log');
describe.skipIf(road.absent)(`road-truck/normal.log${road.why}`, () => {
  it.skipIf(missing && !required)(
    `has the counts that tshark has${missing ? ' (skipped: not installed; CI needs it)' : ''}`,
    () => {
      const args = ['-r', road.path, '-d', 'can.subdissector,j1939', '-Y', 'j1939', '-T', 'fields'];
      const out = execFileSync('tshark', [...args, '-e', 'j1939.src_addr', '-e', 'j1939.pgn'], {
        encoding: 'utf8',
        stdio: ['ignore', 'pipe', 'ignore'],
      });
      const theirs: Record<string, number> = {};
      for (const line of out.trim().split('\n')) {
        const key = line.replace('\t', ' ');
        theirs[key] = (theirs[key] ?? 0) + 1;
      }
      const ours = Object.fromEntries([...counted(readLog(road.path))].map(([key, { count }]) => [key, count]));
      expect(ours).toEqual(theirs);
    },
    60_000,
  );

  // data/README.md: AIR1 and B1 from address 49 agree within one step, 8 and 4 kPa per bit; moving.
  it('has its air circuits, its speed and what it cannot tell', () => {
    const report = reportOf(readLog(road.path));
    const air = report.air.filter(({ sa }) => sa === 49).map(({ what, spn, least, most }) => [what, spn, least, most]);
    expect(air).toEqual([
      ['primary circuit', 117, 804, 804],
      ['primary circuit', 1087, 800, 808],
      ['secondary circuit', 118, 804, 808],
      ['secondary circuit', 1088, 808, 808],
      ['brake application, demanded', 8484, 0, 0],
    ]);
    const speed = report.groups
      .find(({ sa, pgn }) => sa === 0 && pgn === 65265)!
      .signals.find(({ spn }) => spn === 84)!;
    expect(speed.most).toBeGreaterThan(20);
    const application = report.groups.find(({ sa, pgn }) => sa === 49 && pgn === 65274)!.signals[0]!;
    expect(application).toMatchObject({ spn: 116, good: 0, absent: 1, last: null });
    const verdicts = Object.fromEntries(report.rules.map(({ rule, judged }) => [rule, judged]));
    expect(verdicts).toMatchObject({
      'tire-hot': 'no',
      'brake-overstroke': 'no',
      'air-low': 'yes',
      'circuits-unequal': 'yes',
    });
    expect(report.never.find(({ acronym }) => acronym === 'EBC4')).toMatchObject({ onRequest: true });
  });
});

const tractor = shared('data/tractor/start1.log');
describe.skipIf(tractor.absent)(`tractor/start1.log${tractor.why}`, () => {
  // NAMEs of data/vectors.json, "real_tractor_name_…".
  it('has the NAMEs of its five units', () => {
    const { senders } = reportOf(readLog(tractor.path));
    const names = senders.map(({ sa, name }) => [
      sa,
      name?.identity,
      name?.manufacturer,
      name?.function,
      name?.vehicleSystem,
    ]);
    expect(names).toEqual([
      [0x00, 652_630, 33, 0, 1],
      [0x03, 1_078_349, 33, 3, 1],
      [0x06, 1_078_349, 33, 14, 0],
      [0x17, 290_316, 33, 19, 1],
      [0x47, 1_078_349, 33, 52, 1],
    ]);
    expect(senders.map(({ name }) => name?.industryGroup)).toEqual([2, 2, 2, 2, 2]);
  });

  it("tells makers' own groups from others", () => {
    const own = reportOf(readLog(tractor.path)).others.filter(({ kind }) => kind === 'proprietary');
    expect(own.map(({ pgn }) => pgn)).toEqual(expect.arrayContaining([61184, 126720, 65534]));
    expect(own.every(({ pgn }) => [0xef, 0xff].includes((pgn >> 8) & 0xff))).toBe(true);
  });
});

const fuzz = shared('data/road-truck/fuzz_1ms_ID_and_Data.log');
describe.skipIf(fuzz.absent)(`road-truck/fuzz_1ms_ID_and_Data.log${fuzz.why}`, () => {
  it('stays bounded, and every frame is in some count', () => {
    const frames = readLog(fuzz.path);
    const survey = surveyOf(frames);
    const bus = survey.buses[0]!;
    let single = bus.foreign + bus.leftOut;
    let groups = 0;
    for (const sender of bus.senders) {
      for (const { count, long } of sender?.groups.values() ?? []) single += count - long;
      for (const { count } of sender?.others.values() ?? []) single += count;
      groups += (sender?.groups.size ?? 0) + (sender?.others.size ?? 0);
    }
    expect(single).toBe(frames.length);
    expect(groups).toBeLessThanOrEqual(2_048 + 1_024);
    expect(bus.leftOut).toBeGreaterThan(0);
    // The truck itself is not crowded out.
    expect(bus.senders[0]!.groups.get(61444)!.count).toBeGreaterThanOrEqual(1500);
  });
});

const bench = shared('data/engine-bench/sample.log');
describe.skipIf(bench.absent)(`engine-bench/sample.log${bench.why}`, () => {
  // data/README.md: 394 BAM transfers of which 391 complete, and an RTS that is aborted.
  it('has 391 whole long messages', () => {
    const { buses } = reportOf(readLog(bench.path));
    expect(buses[0]!.transfers.complete).toBe(391);
    expect(buses[0]!.transfers.broken).toBeGreaterThanOrEqual(3);
  });
});
