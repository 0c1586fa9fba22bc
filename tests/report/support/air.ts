import type { AirCycleValues, AirTestValues } from '../../../daemon/truck/records.js';
import type { GatheredRecord } from '../../../report/gathered.js';
import { ZERO_MS } from './by-hand.js';

/** One leak test so many seconds after the beginning. */
export function tested(second: number, more: Partial<AirTestValues> = {}): GatheredRecord {
  const values: AirTestValues = {
    ...{ state: 'released', circuit: 'air/primary', seconds: 120, fallKpa: 20, kpaPerMin: 10 },
    ...{ thirds: [10, 10, 10], units: 2, limit: 20.7 },
    ...more,
  };
  const startMs = ZERO_MS + second * 1000;
  const endMs = startMs + values.seconds * 1000;
  const at = { startAt: second * 1000, endAt: endMs - ZERO_MS };
  return { startMs, endMs, record: { kind: 'air-test', subject: 'air/supply', ...at, values } };
}

/** One cycle of the compressor. */
export function pumped(second: number, more: Partial<AirCycleValues> = {}): GatheredRecord {
  const values: AirCycleValues = { cutInKpa: 690, cutOutKpa: 860, pumpingS: 60, revolutionsPer100Kpa: 1200, ...more };
  const startMs = ZERO_MS + second * 1000;
  const endMs = startMs + values.pumpingS * 1000;
  const at = { startAt: second * 1000, endAt: endMs - ZERO_MS };
  return { startMs, endMs, record: { kind: 'air-cycle', subject: 'air/supply', ...at, values } };
}
