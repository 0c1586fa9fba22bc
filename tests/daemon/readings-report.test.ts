import { describe, expect, it } from 'vitest';
import type { ReadingReport } from '../../daemon/effects.js';
import { Pipeline } from '../../daemon/pipeline.js';
import { Stepper } from '../../daemon/stepper.js';
import { listSubjects } from '../../daemon/truck/subjects.js';
import { morningRunText, Recording } from '../support/recording.js';
import { truckOf } from '../support/truck-file.js';

/** The first report of the demonstration shift (simulator/shifts/morning-run.yaml: a cold morning), five minutes in. */
function firstReport(): ReadingReport {
  const reports: ReadingReport[] = [];
  const pipeline = new Pipeline(truckOf());
  const stepper = new Stepper(pipeline, (effects) => effects.reading !== null && reports.push(effects.reading));
  new Recording(morningRunText()).feed(stepper, 0, 40_000);
  return reports.find((report) => report.t >= 300_000)!;
}

describe('the values that the office gets', () => {
  const { r } = firstReport();
  const { tires, wheelEnds } = listSubjects(truckOf().units);

  it('lists every tire, brake and circuit that was heard, under the names of the contract', () => {
    const air = ['air/primary', 'air/secondary', 'air/supply', 'air/parking'];
    expect(Object.keys(r).sort()).toEqual(
      [...tires, ...wheelEnds]
        .map((one) => one.subject)
        .concat(air)
        .sort(),
    );
  });

  it('gives a tire its pressure, cold-equivalent pressure, temperature and age', () => {
    // Gas law: a tire at its target for 18 °C stands lower on a cold morning, and its cold-equivalent pressure at the target.
    for (const { subject, coldPressureKpa } of tires) {
      const [kpa, cold, celsius, age] = r[subject]!;
      expect(kpa!).toBeLessThan(coldPressureKpa!);
      expect(Math.abs(cold! - coldPressureKpa!)).toBeLessThan(0.06 * coldPressureKpa!);
      expect(celsius!).toBeLessThan(15);
      expect(age!).toBeLessThanOrEqual(30);
    }
  });

  it('gives a circuit its pressure and age, a brake its state and age', () => {
    expect(r['air/primary']![0]).toBeGreaterThan(600);
    expect(r['air/primary']![1]).toBeLessThanOrEqual(2);
    expect(r['trailer/1/right']).toEqual([0, expect.any(Number)]);
  });

  it('fits 1.5 KB for eighteen wheels', () => {
    expect(JSON.stringify({ v: 1, at: '2026-03-02T13:05:00.000Z', r }).length).toBeLessThanOrEqual(1536);
  });
});
