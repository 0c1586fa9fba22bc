import { describe, expect, it } from 'vitest';
import { type EvidenceSpec, forget, judge, newEvidence, settle, stop } from '../../../daemon/alerts/evidence.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { type Input, naiveLevels, STEP_MS } from './naive-evidence.js';

const byTime = (raiseAfterMs: number, clearAfterMs: number): EvidenceSpec => ({
  raiseAfterMs,
  clearAfterMs,
  n: 0,
  m: 0,
  clearsByTime: true,
});
const byCount = (n: number, m: number, clearAfterMs: number | null = null): EvidenceSpec => ({
  raiseAfterMs: 0,
  clearAfterMs: clearAfterMs ?? 0,
  n,
  m,
  clearsByTime: clearAfterMs !== null,
});

/** What evidence.ts says at each tick; a tick comes before a reading of the same instant. */
function levels(inputs: readonly Input[], spec: EvidenceSpec, until: number): boolean[] {
  const e = newEvidence();
  const out: boolean[] = [];
  let next = 0;
  for (let t = 1000; t <= until; t += 1000) {
    for (; next < inputs.length && inputs[next]!.t < t; next++) {
      const { t: at, reading } = inputs[next]!;
      if (reading === null) stop(e, at);
      else judge(e, spec, at, reading.limitMs, reading.raising, reading.clearing);
    }
    settle(e, spec, t);
    out.push(e.up);
  }
  return out;
}

const RAISES = { raising: true, clearing: false };
const BETWEEN = { raising: false, clearing: false };
const CLEARS = { raising: false, clearing: true };
const read = (t: number, what: typeof RAISES, limitMs = 3000): Input => ({ t, reading: { ...what, limitMs } });
const bad = (t: number): Input => ({ t, reading: null });
const every = (from: number, to: number, step: number, what: typeof RAISES, limitMs?: number): Input[] =>
  Array.from({ length: Math.floor((to - from) / step) + 1 }, (_, i) => read(from + i * step, what, limitMs));
/** Second of the first tick that says so, −1 for none. */
const firstUp = (inputs: Input[], spec: EvidenceSpec, until = 200_000) => levels(inputs, spec, until).indexOf(true) + 1;

describe('evidence by time (design.md, "Evidence")', () => {
  it('counts in full between readings no further apart than the age limit, and raises at exactly raiseAfter', () => {
    // First reading at 500: ten seconds are full at 10,500, the next tick is 11.
    expect(firstUp(every(500, 60_000, 3000, RAISES), byTime(10_000, 10_000))).toBe(11);
    // First reading at 0: the tick at 10 s sees exactly ten seconds.
    expect(firstUp(every(0, 60_000, 2000, RAISES), byTime(10_000, 10_000))).toBe(10);
    expect(firstUp(every(1, 60_000, 2000, RAISES), byTime(10_000, 10_000))).toBe(11);
  });

  it('counts after the last reading until the age limit, and not further', () => {
    expect(firstUp([read(0, RAISES, 5000)], byTime(5000, 10_000))).toBe(5);
    expect(firstUp([read(0, RAISES, 5000)], byTime(5001, 10_000))).toBe(0);
    // Readings further apart than the age limit bring that limit each.
    expect(firstUp(every(0, 100_000, 5000, RAISES, 3000), byTime(9000, 10_000))).toBe(13);
  });

  it('is zero after ten age limits without a reading, and not before', () => {
    const [limit, spec] = [3000, byTime(5000, 10_000)];
    expect(firstUp([read(0, RAISES, limit), read(10 * limit, RAISES, limit)], spec)).toBe(32);
    expect(firstUp([read(0, RAISES, limit), read(10 * limit + 1, RAISES, limit)], spec)).toBe(0);
  });

  it('starts anew after one good reading that misses the raise limit, also without meeting the clear limit', () => {
    const inputs = [...every(0, 8000, 1000, RAISES), read(9000, BETWEEN), ...every(10_000, 60_000, 1000, RAISES)];
    expect(firstUp(inputs, byTime(10_000, 10_000))).toBe(20);
  });

  it('is stopped by bad data and keeps what it has', () => {
    const inputs = [...every(0, 6000, 1000, RAISES), bad(6500), ...every(9000, 60_000, 1000, RAISES)];
    // 6.5 s until the bad one, 3.5 s from 9 s on.
    expect(firstUp(inputs, byTime(10_000, 10_000))).toBe(13);
  });

  it('clears only on good readings: silence, bad data and values between the limits never do', () => {
    const spec = byTime(2000, 10_000);
    const raised = every(0, 5000, 1000, RAISES);
    expect(levels(raised, spec, 600_000).at(-1)).toBe(true);
    expect(levels([...raised, bad(6000)], spec, 600_000).at(-1)).toBe(true);
    expect(levels([...raised, ...every(6000, 500_000, 1000, BETWEEN)], spec, 600_000).at(-1)).toBe(true);
    // Disputed readings meet no clear limit (Quality: "counts for raising, never for clearing").
    expect(levels([...raised, ...every(6000, 15_000, 1000, CLEARS), read(15_900, BETWEEN)], spec, 100_000).at(-1)).toBe(
      true,
    );
    const cleared = levels([...raised, ...every(6000, 60_000, 1000, CLEARS)], spec, 60_000);
    expect(cleared.indexOf(false, 5)).toBe(15);
  });

  it('forgotten evidence starts from nothing', () => {
    const e = newEvidence();
    const spec = byTime(5000, 10_000);
    judge(e, spec, 0, 3000, true, false);
    judge(e, spec, 3000, 3000, true, false);
    forget(e);
    judge(e, spec, 4000, 3000, true, false);
    settle(e, spec, 5000);
    expect(e.up).toBe(false);
    settle(e, spec, 7000);
    judge(e, spec, 7000, 3000, true, false);
    settle(e, spec, 9000);
    expect(e.up).toBe(true);
  });
});

describe('evidence by count', () => {
  it('raises at n of the last m and is left when none of the last m holds', () => {
    const results = (bits: string) => [...bits].map((b, i) => read(i * 1000 + 500, b === '1' ? RAISES : BETWEEN, 1e12));
    const seen = (bits: string, spec: EvidenceSpec) =>
      levels(results(bits), spec, bits.length * 1000)
        .map((up) => (up ? '1' : '0'))
        .join('');
    expect(seen('010100', byCount(2, 3))).toBe('000111');
    expect(seen('0110001000', byCount(2, 3))).toBe('0011100000');
    expect(seen('1000', byCount(1, 3))).toBe('1110');
    expect(seen('111', byCount(3, 3))).toBe('001');
  });
});

describe('against a second, naive reading of design.md', () => {
  const seed = printedSeed('evidence');
  const gap = fc.oneof(
    { weight: 6, arbitrary: fc.integer({ min: 0, max: 40 }) },
    { weight: 1, arbitrary: fc.integer({ min: 40, max: 1500 }) },
  );
  const reading = fc.record({
    kind: fc.constantFrom(RAISES, RAISES, RAISES, BETWEEN, CLEARS, CLEARS, CLEARS),
    run: fc.integer({ min: 1, max: 8 }),
    limit: fc.constantFrom(2000, 3000, 10_000),
    isBad: fc.integer({ min: 0, max: 9 }).map((n) => n === 0),
    gap,
  });
  const inputsOf = fc.array(reading, { minLength: 1, maxLength: 14 }).map((runs) => {
    const inputs: Input[] = [];
    let t = 0;
    for (const { kind, run, limit, isBad, gap } of runs) {
      for (let i = 0; i < run; i++) {
        t += gap * STEP_MS;
        inputs.push(isBad ? bad(t) : read(t, kind, limit));
      }
    }
    return inputs;
  });
  const until = (inputs: Input[]) => Math.min(inputs.at(-1)!.t + 150_000, 400_000);

  it.each([
    ['time, short', byTime(2000, 10_000)],
    ['time, long', byTime(20_000, 15_000)],
    ['time, at once', byTime(0, 10_000)],
    ['1 of 1', byCount(1, 1)],
    ['2 of 3', byCount(2, 3)],
    ['1 of 2, cleared by time', byCount(1, 2, 10_000)],
    ['2 of 2, cleared by time', byCount(2, 2, 10_000)],
    ['3 of 3, cleared by time', byCount(3, 3, 20_000)],
  ])('%s', (_, spec) => {
    fc.assert(
      fc.property(inputsOf, (inputs) => {
        const end = until(inputs);
        expect(levels(inputs, spec, end)).toEqual(naiveLevels(inputs, spec, end));
      }),
      { seed, numRuns: 100 },
    );
  });
});
