import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { parseScenario } from '../../simulator/scenario.js';
import { simulateShift } from '../../simulator/shift.js';

const text = readFileSync('simulator/shifts/morning-run.yaml', 'utf8');

/** The same truck for four minutes: key, engine, a little yard. */
const short = {
  ...parseScenario(text, 'short'),
  durationS: 240,
  drive: [
    { mode: 'key', until: 20 },
    { mode: 'idle', until: 60 },
    { mode: 'yard', until: 240 },
  ] as ReturnType<typeof parseScenario>['drive'],
};

const hash = (seed: number) =>
  createHash('sha256')
    .update([...simulateShift(short, seed)].join('\n'))
    .digest('hex');

describe('a simulated shift', () => {
  it('is the same for the same seed and another for another', () => {
    const first = hash(7);
    expect(hash(7)).toBe(first);
    expect(hash(8)).not.toBe(first);
  });

  it('never goes back in time and keeps inside its length', () => {
    let before = 0;
    let count = 0;
    for (const line of simulateShift(short)) {
      const stamp = Number(/^\((\d+\.\d+)\)/.exec(line)![1]);
      expect(stamp).toBeGreaterThanOrEqual(before);
      before = stamp;
      count += 1;
    }
    expect(count).toBeGreaterThan(3000);
    expect(before - Date.parse(short.start) / 1000).toBeLessThan(240);
  });

  it('sends at the rates of the standard where the scenario does not thin', () => {
    const plain = { ...short, thin: { driving: {}, parked: {} } };
    const counts = new Map<string, number>();
    for (const line of simulateShift(plain)) {
      const id = /([0-9A-F]{8})#/.exec(line)![1]!;
      counts.set(id, (counts.get(id) ?? 0) + 1);
    }
    const perSecond = (id: string) => (counts.get(id) ?? 0) / 239.5;
    expect(perSecond('0CF00400')).toBeCloseTo(20, 0);
    expect(perSecond('18FEF100')).toBeCloseTo(10, 0);
    expect(perSecond('18F0010B')).toBeCloseTo(10, 0);
    for (const id of ['18FEAE30', '18FEFA0B', '18FD710B', '18FEF500', '18FECA00']) {
      expect(perSecond(id)).toBeCloseTo(1, 1);
    }
  });
});
