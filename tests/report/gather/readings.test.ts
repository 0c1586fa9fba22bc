import { describe, expect, it } from 'vitest';
import { type Gathered, seriesKey } from '../../../report/gathered.js';
import { air1, amb, b1, ccvs1, type NaiveFrame, parseLog, rpm, strokes, tire1 } from '../../simulator/naive.js';
import { morningRunText, Recording } from '../../support/recording.js';
import { Bench, ZERO_MS } from './support.js';

/* The demonstration shift, gathered by the program and by a second reading of the log that shares nothing with it. */

/** SPN 929 as config/examples/T-1042.yaml has its wheels: axle in the high nibble, tire from the left in the low one. */
const TIRES: Record<number, string> = {
  0: 'tractor/1/left/single',
  1: 'tractor/1/right/single',
  ...dual(16, 'tractor/2'),
  ...dual(32, 'tractor/3'),
  ...dual(48, 'trailer/1'),
  ...dual(64, 'trailer/2'),
};
const WHEELS: Record<number, string> = {
  ...{ 0: 'tractor/1/left', 1: 'tractor/1/right', 2: 'tractor/2/left', 3: 'tractor/2/right' },
  ...{ 4: 'tractor/3/left', 5: 'tractor/3/right' },
  ...{ 10: 'trailer/1/left', 11: 'trailer/1/right', 12: 'trailer/2/left', 13: 'trailer/2/right' },
};

function dual(first: number, axle: string): Record<number, string> {
  const places = ['left/outer', 'left/inner', 'right/inner', 'right/outer'];
  return Object.fromEntries(places.map((place, i) => [first + i, `${axle}/${place}`]));
}

/** Key → second → the last reading in it. */
type Naive = Map<string, Map<number, [atMs: number, value: number]>>;

function naiveReadings(frames: readonly NaiveFrame[]): Naive {
  const all: Naive = new Map();
  const tell = (key: string, t: number, value: number): void => {
    const series = all.get(key) ?? new Map<number, [number, number]>();
    all.set(key, series);
    series.set(Math.floor(t / 1000), [ZERO_MS + t, value]);
  };
  for (const frame of frames) {
    const { t, pgn, bytes } = frame;
    if (pgn === 65268 && bytes[1] !== 0xff) {
      const { location, kpa, celsius } = tire1(frame);
      tell(`${TIRES[location]} pressure`, t, kpa);
      if (celsius < 1000) tell(`${TIRES[location]} temperature`, t, celsius);
    }
    if (pgn === 65265 && bytes[2]! < 0xfb) tell('tractor speed', t, ccvs1(frame).kmh);
    if (pgn === 61444 && bytes[4]! < 0xfb) tell('tractor engine speed', t, rpm(frame));
    if (pgn === 65269 && bytes[4]! < 0xfb) tell('tractor temperature', t, amb(frame).celsius);
    if (pgn === 65274 && bytes[1] !== 0xff) {
      const { application, primary, secondary } = b1(frame);
      if (bytes[0] !== 0xff) tell('brakes application pressure', t, application);
      tell('air/primary pressure', t, primary);
      tell('air/secondary pressure', t, secondary);
    }
    if (pgn === 65198 && bytes[0] !== 0xff) tell('air/supply pressure', t, air1(frame).supply);
    // SPN 1086, parking and trailer circuit: byte 2, 8 kPa.
    if (pgn === 65198 && bytes[1] !== 0xff) tell('air/parking pressure', t, bytes[1]! * 8);
    if (pgn === 64881) {
      for (const [field, code] of strokes(frame).codes.entries())
        if (code < 4) tell(`${WHEELS[field]} stroke state`, t, code);
    }
  }
  return all;
}

async function gatheredShift(): Promise<{ gathered: Gathered; naive: Naive }> {
  const text = morningRunText();
  const frames = parseLog(text.toString('latin1').trimEnd().split('\n'));
  const bench = new Bench().run();
  new Recording(text).feed(bench.sink);
  await bench.end(frames.at(-1)!.t + 1000);
  return { gathered: bench.gathered(), naive: naiveReadings(frames) };
}

const shift = gatheredShift();

describe('readings of the demonstration shift', () => {
  it('are, of each second, the last good one that the log has, and no other', async () => {
    const { gathered, naive } = await shift;
    const ours = [...gathered.samples.keys()].filter((key) => !key.endsWith('cold pressure')).sort();
    expect(ours).toEqual([...naive.keys()].sort());
    expect(ours.length).toBeGreaterThan(50);
    for (const key of ours) {
      const { atMs, value } = gathered.samples.get(key)!;
      const expected = [...naive.get(key)!.values()];
      expect([key, atMs.length]).toEqual([key, expected.length]);
      const wrong = expected.filter(([at, v], i) => atMs[i] !== at || Math.abs(value[i]! - v) > 1e-9);
      expect([key, wrong.slice(0, 3)]).toEqual([key, []]);
    }
  }, 60_000);

  it('cold-equivalent pressure follows the gas law: absolute pressure over absolute temperature, back to 18 °C', async () => {
    const { gathered, naive } = await shift;
    const SEA_LEVEL = 101.325;
    const outside = [...naive.get('tractor temperature')!.keys()].length;
    expect(outside).toBeGreaterThan(1000);
    for (const subject of Object.values(TIRES)) {
      const pressure = gathered.samples.get(seriesKey(subject, 'pressure'))!;
      const temperature = new Map(
        gathered.samples.get(seriesKey(subject, 'temperature'))!.atMs.map((at, i) => [at, i] as const),
      );
      const celsius = gathered.samples.get(seriesKey(subject, 'temperature'))!.value;
      const cold = gathered.samples.get(seriesKey(subject, 'cold pressure'))!;
      const at = new Map(pressure.atMs.map((ms, i) => [ms, i] as const));
      for (let i = 0; i < cold.atMs.length; i++) {
        const kpa = pressure.value[at.get(cold.atMs[i]!)!]!;
        const c = celsius[temperature.get(cold.atMs[i]!)!]!;
        // The depot stands at sea level; the barometer of the shift moves by less than 5 kPa.
        const expected = ((kpa + SEA_LEVEL) * (18 + 273.15)) / (c + 273.15) - SEA_LEVEL;
        expect(Math.abs(cold.value[i]! - expected)).toBeLessThan(6);
      }
      expect(cold.atMs.length).toBe(pressure.atMs.length);
    }
  });

  it('minutes hold what the seconds say', async () => {
    const { gathered } = await shift;
    for (const [key, { atMs, min, max }] of gathered.minutes) {
      const samples = gathered.samples.get(key)!;
      for (let i = 0; i < atMs.length; i++) {
        const inIt = samples.value.filter(
          (_, k) => samples.atMs[k]! >= atMs[i]! && samples.atMs[k]! < atMs[i]! + 60_000,
        );
        if (inIt.length === 0) continue;
        expect([key, i, Math.min(...inIt) >= min[i]! && Math.max(...inIt) <= max[i]!]).toEqual([key, i, true]);
      }
    }
    expect(gathered.minutes.size).toBe(18 * 2 + 4);
  }, 60_000);

  it('a silent sensor leaves a hole, and sleep is no gap (replay-logs/README.md: silent from minute 95 to 172)', async () => {
    const { gathered } = await shift;
    const { atMs } = gathered.samples.get('tractor/3/right/inner pressure')!;
    const minutes = atMs.map((at) => (at - ZERO_MS) / 60_000);
    expect(minutes.filter((m) => m > 95.2 && m < 171.9)).toEqual([]);
    expect(minutes.some((m) => m < 95)).toBe(true);
    expect(minutes.some((m) => m > 172)).toBe(true);
    expect(gathered.gaps).toEqual([]);
    expect(gathered.life.map(({ state }) => state)).toEqual(['parked', 'asleep', 'awake']);
    expect(gathered.trips.map(({ record }) => [record.trip, record.provisional])).toEqual([
      [1, false],
      [2, true],
    ]);
  });
});
