import { describe, expect, it } from 'vitest';
import type { BrakeApplicationValues } from '../../../daemon/truck/records.js';
import { Lists, MOST_OTHERS, MOST_RECORDS } from '../../../report/gather/lists.js';
import type { GatheredRecord } from '../../../report/gathered.js';

const ZERO_MS = 1_772_456_400_000;

function application(n: number): GatheredRecord {
  const values: BrakeApplicationValues = {
    ...{ durationS: 4, peakKpa: n % 500, meanKpa: 50, startKmh: 80, endKmh: 60, airUsedKpa: null },
    ...{ from: 'pressure', qualifying: n % 500 >= 138, wheels: {} },
  };
  const record = { kind: 'brake-application', subject: 'brakes', startAt: n, endAt: n + 1, values } as const;
  return { startMs: n, endMs: n + 1, record };
}

const cycle = (n: number): GatheredRecord => ({
  ...{ startMs: n, endMs: n + 1 },
  record: {
    ...{ kind: 'air-cycle', subject: 'air/supply', startAt: n, endAt: n + 1 },
    values: { cutInKpa: 690, cutOutKpa: 860, pumpingS: 30, revolutionsPer100Kpa: null },
  },
});

const peaksOf = ({ all }: Lists): number[] =>
  all.records.flatMap(({ record }) => (record.kind === 'brake-application' ? [Number(record.values.peakKpa)] : []));

describe('lists', () => {
  it('too many brake applications: the softest go, all else stays, and each has its own time', () => {
    const lists = new Lists();
    const count = 2 * MOST_RECORDS;
    for (let n = 0; n < count; n++) {
      lists.add('records', n % 100 === 0 ? cycle(n) : application(n));
      // A run ends in the middle of it.
      if (n === MOST_RECORDS / 2) lists.settle(ZERO_MS);
    }
    lists.settle(ZERO_MS);
    const { records } = lists.all;
    expect(records.length).toBeLessThanOrEqual(MOST_RECORDS);
    expect(records.filter(({ record }) => record.kind === 'air-cycle')).toHaveLength(count / 100);
    expect(records.length + lists.applicationsDropped).toBe(count);
    expect(lists.dropped).toBe(0);
    // What came after the last time that room was made was not weighed yet.
    const weighed = peaksOf(lists).slice(0, MOST_RECORDS / 2);
    expect(Math.min(...weighed)).toBeGreaterThan(100);
    expect(records.filter(({ startMs, record }) => startMs !== ZERO_MS + record.startAt)).toEqual([]);
  });

  it('too many of another kind: the latest are left out and counted', () => {
    const lists = new Lists();
    for (let n = 0; n < MOST_OTHERS + 7; n++) lists.add('gaps', { fromMs: n, toMs: n + 1 });
    expect([lists.all.gaps.length, lists.dropped]).toEqual([MOST_OTHERS, 7]);
    expect(lists.add('gaps', { fromMs: 0, toMs: 1 })).toBe(false);
  });

  it('what takes the place of the last one has the time of the running run', () => {
    const lists = new Lists();
    lists.add('gaps', { fromMs: 1000, toMs: 2000 });
    lists.settle(ZERO_MS);
    lists.replaceLast('gaps', { fromMs: 5, toMs: 6 });
    lists.settle(ZERO_MS);
    expect(lists.all.gaps).toEqual([{ fromMs: ZERO_MS + 5, toMs: ZERO_MS + 6 }]);
  });
});
