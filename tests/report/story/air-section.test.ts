import { beforeAll, describe, expect, it } from 'vitest';
import { assess } from '../../../daemon/monitors/air-piece.js';
import type { AirTestValues } from '../../../daemon/truck/records.js';
import type { AirSection } from '../../../report/data.js';
import type { Gathered, GatheredRecord } from '../../../report/gathered.js';
import { airSection, MOST_CYCLES, MOST_PLOTS, MOST_TESTS } from '../../../report/story/air-section.js';
import { b1 } from '../../simulator/naive.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';
import { pumped, tested } from '../support/air.js';
import { byMinute, run, sample, ZERO_MS } from '../support/by-hand.js';
import { cityShift, type DrivenShift, driveShift } from '../support/drive-shift.js';

function air(records: GatheredRecord[], config = truckOf()): Gathered {
  const gathered = run(600, config);
  gathered.records = records;
  return gathered;
}

describe('a driven shift with a leak', () => {
  let shift: DrivenShift;
  let section: AirSection;

  beforeAll(async () => {
    shift = await driveShift(
      cityShift(
        [
          'mode: key, until: "0:00:20"',
          'mode: idle, until: "0:04:00", idleRpm: 1100',
          'mode: key, until: "0:12:00"',
          'mode: idle, until: "0:15:00", idleRpm: 1100',
          'mode: city, until: "0:20:00"',
        ],
        [
          'kind: air-leak, supplyKpaPerMin: 0, primaryKpaPerMin: 40, secondaryKpaPerMin: 0, from: "0:04:00", to: "0:20:00"',
        ],
      ),
      65274,
    );
    section = airSection(shift.gathered)!;
  });

  /** Slope by least squares of the frames as they were sent, kPa a minute of fall. */
  function leastSquares(circuit: string, fromS: number, toS: number): number {
    const points = shift.sent
      .filter(({ t }) => t / 1000 >= fromS && t / 1000 <= toS)
      .map(({ t, id, data }) => {
        const { primary, secondary } = b1({ t, id, pgn: 65274, source: id & 0xff, bytes: data });
        return [t / 60_000, circuit === 'air/primary' ? primary : secondary] as const;
      });
    const mean = (k: 0 | 1): number => points.reduce((sum, p) => sum + p[k], 0) / points.length;
    const [x, y] = [mean(0), mean(1)];
    const over = points.reduce((sum, [a, b]) => sum + (a - x) * (b - y), 0);
    return -over / points.reduce((sum, [a]) => sum + (a - x) ** 2, 0);
  }

  it('tells of each test, the ones that failed first', () => {
    const kept = shift.gathered.records.filter(({ record }) => record.kind === 'air-test');
    expect(kept.length).toBeGreaterThanOrEqual(2);
    expect(section.tests).toHaveLength(kept.length);
    const verdicts = section.tests.map(({ circuit, passed }) => [circuit, passed]);
    // The planted leak is in one circuit only, and beyond the 13.8 kPa/min of a vehicle alone.
    expect(verdicts.filter(([, passed]) => passed === false).map(([circuit]) => circuit)).toEqual(
      Array.from({ length: verdicts.filter(([, passed]) => passed === false).length }, () => 'air/primary'),
    );
    expect(verdicts[0]).toEqual(['air/primary', false]);
    expect(section.tests.every(({ limitKpaPerMin }) => limitKpaPerMin === 13.8)).toBe(true);
    expect(section.tests.at(-1)!.passed).toBe(true);
  });

  it('draws the slope that was found as least squares find it in the frames, and the one that is allowed', () => {
    for (const test of section.tests) {
      const plot = test.plot!;
      const [readings, found, allowed] = plot.lines;
      const own = leastSquares(test.circuit, test.s, test.s + test.seconds);
      const drawn = (line: typeof found): number => ((line!.v[0]! - line!.v[1]!) / (line!.s[1]! - line!.s[0]!)) * 60;
      // Steps of 4 kPa over the length of the piece, and a leak that slows down as the pressure sinks.
      const margin = (4 * 60) / test.seconds + 0.05 * own;
      expect(Math.abs(drawn(found) - own)).toBeLessThan(margin);
      expect(drawn(found)).toBeCloseTo(test.kpaPerMin, 0);
      expect(drawn(allowed)).toBeCloseTo(13.8, 1);
      expect([found!.role, allowed!.role, readings!.role]).toEqual(['context', 'context', 'judged']);
      expect(found!.s).toEqual([test.s, Math.round((test.s + test.seconds) * 10) / 10]);
      // The lines begin where the readings are.
      const first = readings!.v[readings!.s.findIndex((s) => s >= test.s)]!;
      expect(Math.abs(found!.v[0]! - first)).toBeLessThanOrEqual(8);
      expect(plot.spans.map(({ kind, fromS, toS }) => [kind, toS - fromS])).toEqual([['leak-test', test.seconds]]);
    }
  });

  it('has circuits and supply over the whole time, with pumping and tests', () => {
    const { plot, cycles, compressorShare } = section;
    expect(plot.lines.map(({ label, role }) => [label, role])).toEqual([
      ['primary air circuit', 'judged'],
      ['secondary air circuit', 'judged'],
      ['air supply', 'context'],
    ]);
    const pumping = plot.spans.filter(({ kind }) => kind === 'pumping');
    expect(pumping.map(({ fromS, toS }) => Math.round(toS - fromS))).toEqual(cycles.map(({ pumpingS }) => pumpingS));
    expect(plot.spans.filter(({ kind }) => kind === 'leak-test').length).toBe(section.tests.length / 2);
    const { summary } = shift.gathered.trips.at(-1)!.record;
    expect(compressorShare).toBe(summary!.compressor!.share);
    const low = Math.min(
      ...shift.sent.map(({ t, id, data }) => b1({ t, id, pgn: 65274, source: 0, bytes: data }).primary),
    );
    expect(Math.min(...plot.lines[0]!.v)).toBe(low);
  });
});

describe('a leak test', () => {
  const passed = (more: Partial<AirTestValues>): boolean => airSection(air([tested(0, more)]))!.tests[0]!.passed;

  it('fails from what is allowed on, where it fell evenly', () => {
    const even: AirTestValues['thirds'] = [20.7, 20.7, 20.7];
    expect(passed({ kpaPerMin: 20.6, thirds: even })).toBe(true);
    expect(passed({ kpaPerMin: 20.7, thirds: even })).toBe(false);
    expect(passed({ kpaPerMin: 30, thirds: [20, 30, 40] })).toBe(false);
    expect(passed({ kpaPerMin: 30, thirds: [19.9, 30, 40] })).toBe(true);
    expect(passed({ kpaPerMin: 30, thirds: [0, 45, 45] })).toBe(true);
  });

  it('is even where the monitor takes it for a leak', () => {
    for (const thirds of [
      [30, 30, 30],
      [20, 30, 39.8],
      [20, 30, 40.2],
      [39.8, 20, 30],
      [40, 19.8, 30],
      [0, 60, 30],
    ] as const) {
      const points = [800];
      for (const kpaPerMin of thirds) for (let i = 0; i < 20; i++) points.push(points.at(-1)! - kpaPerMin / 12);
      const piece = assess(points, 4);
      expect(passed({ ...piece, thirds: piece.thirds.map((x) => Math.round(x * 10) / 10) }), `${thirds}`).toBe(
        !piece.isLeak,
      );
    }
  });

  it('has no plot where only minutes were kept', () => {
    const gathered = air([tested(600)]);
    byMinute(gathered, 'air/primary', 'pressure', () => [690, 700, 695]);
    const section = airSection(gathered)!;
    expect(section.tests[0]!.plot).toBeNull();
    expect(section.plot.lines[0]!.low).toBeDefined();
    sample(gathered, 'air/primary', 'pressure', 1, () => 700);
    expect(airSection(structuredClone(gathered))!.tests[0]!.plot).not.toBeNull();
  });

  it('of too many the worst are kept, and fewer of them have a plot', () => {
    const n = MOST_TESTS + 20;
    const gathered = air(
      Array.from({ length: n }, (_, i) => tested(i * 60, { kpaPerMin: (i * 7) % n, thirds: [1, 1, 1] })),
    );
    sample(gathered, 'air/primary', 'pressure', 2, () => 700);
    const { tests, leftOut } = airSection(gathered)!;
    expect([tests.length, leftOut]).toEqual([MOST_TESTS, 20]);
    const rates = tests.map(({ kpaPerMin }) => kpaPerMin);
    expect(rates).toEqual([...rates].sort((a, b) => b - a));
    expect(tests.map(({ plot }) => plot !== null)).toEqual(tests.map((_, i) => i < MOST_PLOTS));
  });
});

describe('limits', () => {
  const limits = (config = truckOf()) =>
    airSection(air([pumped(0)], config))!.plot.limits.map(({ value, urgency, kind }) => [value, urgency, kind]);

  it('are those of the rules that are on, and a bus has its own cut-in', () => {
    const low = [
      [414, 'pull-over', 'raise'],
      [448, 'pull-over', 'clear'],
    ];
    const high = [
      [965, 'plan', 'raise'],
      [1034, 'next-stop', 'raise'],
    ];
    expect(limits()).toEqual([...low, [672, 'plan', 'raise'], ...high]);
    const rules = 'rules: {air-cut-out-high: {enabled: no}}\n';
    expect(limits(truckOf(LAYOUT + rules))).toEqual([...low, [672, 'plan', 'raise']]);
    expect(limits(truckOf(`vehicle: bus\n${LAYOUT}`))).toContainEqual([570, 'plan', 'raise']);
  });
});

describe('the compressor', () => {
  it('pumped for a share of what the trips say, and without trips of the time in which the engine ran', () => {
    const gathered = air([pumped(100, { pumpingS: 300 })]);
    expect(airSection(gathered)!.compressorShare).toBeNull();
    const running = air([pumped(100, { pumpingS: 300 })]);
    sample(running, 'tractor', 'engine speed', 1, (s) => (s < 1000 ? 800 : 0));
    expect(airSection(running)!.compressorShare).toBe(0.3);
  });

  it('of too many cycles the longest are kept', () => {
    const gathered = air(
      Array.from({ length: MOST_CYCLES + 5 }, (_, i) => pumped(i * 10, { pumpingS: i < 5 ? 1 : 9 })),
    );
    const { cycles, cyclesLeftOut } = airSection(gathered)!;
    expect([cycles.length, cyclesLeftOut, Math.min(...cycles.map((c) => c.pumpingS))]).toEqual([MOST_CYCLES, 5, 9]);
  });
});

it('nothing of air gives no section, and gaps stay open', () => {
  expect(airSection(run(10, truckOf()))).toBeNull();
  const gathered = air([]);
  sample(gathered, 'air/primary', 'pressure', 1, (s) => (s > 100 && s < 400 ? null : 700));
  gathered.gaps = [{ fromMs: ZERO_MS + 100_000, toMs: ZERO_MS + 400_000 }];
  const { plot } = airSection(gathered)!;
  expect(plot.spans).toMatchObject([{ kind: 'gap', fromS: 100, toS: 400 }]);
  const [line] = plot.lines;
  const after = line!.s.findIndex((s) => s >= 400);
  expect(line!.s[after]! - line!.s[after - 1]! > line!.gapS || line!.breaks?.includes(after)).toBe(true);
});
