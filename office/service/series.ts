import type { WallMs } from '../../daemon/time.js';
import type { Series } from '../core/board-model.js';
import type { TruckKey } from '../core/model.js';
import type { OfficeStore } from '../store/contract.js';

/** A day of messages every five minutes is 288; around trouble one comes each minute. */
const MOST_READINGS = 2_000;
const DAY_MS = 86_400_000;

/** At most a day, ending at toMs; each row stands at the time at which the truck says that it was read. */
export async function seriesOf(
  store: Pick<OfficeStore, 'readings'>,
  key: TruckKey,
  fromMs: WallMs,
  toMs: WallMs,
): Promise<Series> {
  const from = Math.max(fromMs, toMs - DAY_MS);
  const r: Series['r'] = {};
  for (const { reading } of await store.readings(key, from, toMs, MOST_READINGS)) {
    const atMs = Date.parse(reading.at);
    for (const [subject, values] of Object.entries(reading.r)) {
      r[subject] ??= [];
      r[subject].push([atMs, ...values]);
    }
  }
  for (const rows of Object.values(r)) rows.sort((a, b) => a[0] - b[0]);
  return { fromMs: from, toMs, r };
}
