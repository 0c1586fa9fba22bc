import { describe, expect, it } from 'vitest';
import { parse, stringify } from 'yaml';
import { readTruckFile } from '../../config/load.js';
import {
  CLIMATES,
  type Climate,
  CYCLES,
  FAULTS,
  type FaultName,
  HARD_CASES,
  hardCase,
  isTrue,
  parseScenario,
  randomScenario,
  randomScenarioFile,
  simulateInto,
  type Truth,
  truckFileOf,
  verdictOf,
} from '../../simulator/index.js';
import { outsideKpaAt } from '../../simulator/physics/weather.js';
import { Watch } from '../../simulator/watch.js';
import { shift } from './support.js';

/** Many hours are driven, and other tests run meanwhile. */
const LONG_MS = 120_000;
const NOWHERE = { frame() {}, errorFrame() {} };
const truthOf = (scenario: ReturnType<typeof randomScenario>): Truth => simulateInto(scenario, NOWHERE, { thin: true });

/** No rule can find these, or only by guessing; they must not be called something else. */
const UNSEEN: readonly FaultName[] = ['sensor-stuck', 'sensor-drifts'];
/** The rule that each fault is named after. */
const RULE: Partial<Record<FaultName, string>> = {
  'tire-leak-slow': 'tire-losing-air',
  'tire-leak-steady': 'tire-losing-air',
  'tire-leak-rapid': 'tire-losing-air',
  'tire-loss-20-percent': 'tire-underinflated',
  'tire-burst': 'tire-losing-air',
  'tire-over': 'tire-overinflated',
  'sensor-dead': 'tire-sensor-silent',
  'sensor-impossible': 'tire-sensor-fault',
  'brake-overstroke': 'brake-overstroke',
  'brake-dragging': 'brake-dragging',
  'brakes-two-defective': 'brakes-defective-share',
  'air-lost': 'air-low',
  'air-leak-released': 'air-leaking',
  'air-leak-applied': 'air-leaking',
  'air-builds-slowly': 'air-builds-slowly',
  'compressor-overworked': 'compressor-overworked',
  'circuit-blocked': 'circuits-unequal',
  'code-red': 'fault-code',
  'bus-silent': 'bus-silent',
  'trailer-not-seen': 'trailer-not-seen',
};

describe('the truth', { timeout: LONG_MS }, () => {
  it.each(Object.keys(FAULTS) as FaultName[])('%s: something must be told of it, at its own place only', (name) => {
    const scenario = randomScenario(21, { faults: [name] });
    const { expected, faults } = truthOf(scenario);
    expect(faults.length).toBeGreaterThan(0);
    const must = expected.filter((line) => line.must);
    expect(must.length > 0).toBe(!UNSEEN.includes(name));
    const rule = RULE[name];
    if (rule !== undefined) expect(must.map((line) => line.expect)).toContain(rule);
    const began = Math.min(...faults.map(({ from }) => from));
    for (const line of must) {
      expect(line.because).not.toBe('conditions');
      expect(line.from).toBeGreaterThanOrEqual(began);
      expect(line.visibleFrom).toBeGreaterThanOrEqual(line.from);
    }
  });

  const climates = Object.keys(CLIMATES) as Climate[];
  // Each cycle in two climates, each climate in two cycles.
  const pairs = CYCLES.flatMap((cycle, i) => [0, 2].map((k) => [cycle, climates[(i + k) % climates.length]!] as const));
  it.each(pairs)('of a healthy truck: nothing must be told (%s, %s)', (cycle, climate) => {
    const { faults, expected } = truthOf(randomScenario(31, { cycle, climate }));
    expect(faults).toEqual([]);
    expect(expected.filter((line) => line.must)).toEqual([]);
  });

  it.each(HARD_CASES)('of the hard case %s: only what is really wrong', (name) => {
    const { expected } = truthOf(hardCase(name, 41));
    const must = new Set(expected.filter((line) => line.must).map((line) => line.expect));
    const right: Record<string, string[]> = {
      'dragging-wheel-heat': ['brake-dragging', 'tire-hot'],
      'cold-morning-filled-warm': ['tires-off-target'],
      'trailer-dropped': ['trailer-not-seen'],
    };
    for (const rule of must) expect(right[name] ?? []).toContain(rule);
    expect(must.size > 0).toBe(right[name] !== undefined);
  });

  it('tells from when: a leak from its begin, a share from when it was crossed', () => {
    const phases = [{ from: '0:20:00', kpaPerMin: 5 }];
    const scenario = shift(51, (file) => {
      file.tires = { filledAtC: 18, spread: 0 };
      file.faults = [{ kind: 'tire-leak', tire: 'trailer/1/left/outer', phases, to: '1:00:00' }];
    });
    const truth = truthOf(scenario);
    const at = (rule: string, urgency: string) =>
      truth.expected.find((line) => line.expect === rule && line.urgency === urgency)!.from / 60_000;
    expect(at('tire-losing-air', 'next-stop')).toBeCloseTo(20, 1);
    // 10 % of 689.5 kPa at 5 kPa/min.
    expect(at('tire-underinflated', 'plan')).toBeCloseTo(20 + 68.95 / 5, 0);
    expect(at('tire-underinflated', 'next-stop')).toBeCloseTo(20 + 137.9 / 5, 0);
    expect(isTrue(truth, 'tire-losing-air', 'trailer/1/left/outer', 1_500_000)).toBe(true);
    expect(isTrue(truth, 'tire-losing-air', 'trailer/1/left/outer', 600_000)).toBe(false);
    expect(isTrue(truth, 'tire-losing-air', 'trailer/1/left/inner', 1_500_000)).toBe(false);
  });
});

describe('what an alert is worth', () => {
  const truth: Truth = {
    faults: [],
    expected: [
      {
        ...{ expect: 'air-low', subject: 'air/service', urgency: 'plan', from: 1000, visibleFrom: null, to: 2000 },
        ...{ held: 1, of: 'seconds', must: false, because: 'conditions' },
      },
    ],
    allowed: [{ may: 'tire-hot', subject: '*', from: 5000, because: 'brake-dragging' }],
  };

  it('right from its begin on, at most as urgent as what was there', () => {
    expect(verdictOf(truth, 'air-low', 'air/service', 'plan', 1000)).toBe('right');
    expect(verdictOf(truth, 'air-low', 'air/service', 'plan', 999)).toBe('false');
    expect(verdictOf(truth, 'air-low', 'air/service', 'next-stop', 1000)).toBe('too-urgent');
    expect(verdictOf(truth, 'air-low', 'air/supply', 'plan', 1000)).toBe('false');
  });

  it('a consequence of a fault may be as urgent as it likes', () => {
    expect(verdictOf(truth, 'tire-hot', 'tractor/1/left/single', 'pull-over', 5000)).toBe('right');
  });
});

describe('what happens again and again', () => {
  const watch = (nth: number) =>
    new Watch({ rule: 'brake-overstroke', subject: 's', urgency: 'plan', need: 2, of: 'occurrences', nth });

  it('begins at the nth time, and can be told from the nth that its sensor caught', () => {
    const second = watch(2);
    second.happened(1000, false);
    second.happened(2000, true);
    expect(second.expected('x')).toMatchObject({ from: 2000, visibleFrom: null, must: false });
    second.happened(3000, true);
    expect(second.expected('x')).toMatchObject({ from: 2000, visibleFrom: 3000, must: true });
    expect(second.allowed('x')).toMatchObject({ from: 1000, urgency: 'plan' });
  });
});

describe('a random shift', () => {
  it('is the same for the same seed, and can be written as a file', () => {
    const file = randomScenarioFile(61, { faults: ['tire-leak-rapid'] });
    expect(randomScenarioFile(61, { faults: ['tire-leak-rapid'] })).toEqual(file);
    const text = stringify(file);
    expect(parseScenario(text, 'random.yaml')).toEqual(randomScenario(61, { faults: ['tire-leak-rapid'] }));
    expect(parse(text).seed).toBe(61);
  });

  it.each([71, 72, 73, 74, 75, 76, 77, 78])('has a truck file that the daemon takes (seed %i)', (seed) => {
    const scenario = randomScenario(seed);
    const { config, problems } = readTruckFile(truckFileOf(scenario), 'truck.yaml');
    expect(problems ?? []).toEqual([]);
    expect(config!.units.map((unit) => unit.axles.map(({ coldPressureKpa }) => coldPressureKpa))).toEqual(
      scenario.truck.units.map((unit) => unit.axles.map(({ coldPressureKpa }) => coldPressureKpa)),
    );
    expect(config!.depotAirKpa).toBeCloseTo(outsideKpaAt(scenario.weather.altitudeM!), 1);
  });
});
