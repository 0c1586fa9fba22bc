import type { BoardTruck, TruckPage } from '../core/board-model.js';
import type { TruckKey, TruckState } from '../core/model.js';
import type { OfficeStore } from '../store/contract.js';

/** Of a truck's page: what a person can look through. */
const MOST_EVENTS = 200;
const MOST_TRIPS = 30;

export async function truckPageOf(
  store: Pick<OfficeStore, 'events' | 'trips'>,
  key: TruckKey,
  state: TruckState,
  truck: BoardTruck,
): Promise<TruckPage> {
  const [events, trips] = await Promise.all([
    store.events({ ...key, limit: MOST_EVENTS }),
    store.trips(key, MOST_TRIPS),
  ]);
  const { presence, open, reading, readingMs, check } = state;
  return {
    truck,
    config: presence?.config ?? null,
    version: presence?.version ?? null,
    bus: presence?.bus ?? {},
    reading,
    readingMs,
    check,
    muted: open?.muted ?? [],
    notJudged: open?.notJudged ?? [],
    events,
    trips,
  };
}
