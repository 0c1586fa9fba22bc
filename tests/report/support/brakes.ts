import type { BrakeApplicationValues } from '../../../daemon/truck/records.js';
import type { GatheredRecord } from '../../../report/gathered.js';
import { ZERO_MS } from './by-hand.js';

/** One application so many seconds after the beginning; hard enough to count, and nothing told of any wheel end. */
export function pressed(second: number, more: Partial<BrakeApplicationValues> = {}): GatheredRecord {
  const values: BrakeApplicationValues = {
    durationS: 3,
    peakKpa: 200,
    meanKpa: 150,
    startKmh: 40,
    endKmh: 20,
    from: 'pressure',
    qualifying: true,
    wheels: {},
    airUsedKpa: 4,
    ...more,
  };
  const startMs = ZERO_MS + second * 1000;
  const endMs = startMs + values.durationS * 1000;
  return {
    startMs,
    endMs,
    record: { kind: 'brake-application', subject: 'brakes', startAt: second * 1000, endAt: endMs - ZERO_MS, values },
  };
}
