import type { ReceivedEvent } from '../../../../adapters/mqtt/messages.js';
import type { BoardSnapshot, BoardTruck, Series, TruckPage } from '../../../../office/core/board-model.js';
import type { TruckKey, Wish } from '../../../../office/core/model.js';
import type { EventQuery } from '../../../../office/store/contract.js';
import type { BoardSource } from '../../../../office/web/board-source.js';
import { MemoryAccounts } from './accounts.js';

export const boardTruck = (truck: string, revision = 1): BoardTruck => ({
  fleet: 'northline',
  truck,
  revision,
  trailer: null,
  reach: 'awake',
  heardMs: 1_000,
  sinceMs: 1_000,
  sick: [],
  vehicle: null,
  vehicleMs: null,
  isMoving: true,
  alerts: [],
  more: 0,
});

export const anEvent: ReceivedEvent = {
  v: 1,
  fleet: 'northline',
  truck: 'T-1042',
  trailer: 'TR-77',
  store: 'k3f9q2m1x7ab',
  boot: 12,
  seq: 417,
  config: '9c1e44d0',
  alert: 'T-1042.k3f9q2m1x7ab.401',
  cause: null,
  rule: 'tire-losing-air',
  kind: 'equipment',
  subject: 'tractor/2/left/outer',
  place: 'tractor axle 2, left outer tire',
  change: 'taken',
  who: 'Anna',
  note: 'driver is told',
  urgency: 'next-stop',
  was: 'plan',
  since: '2026-03-02T13:51:40.000Z',
  at: '2026-03-02T14:03:11.000Z',
  synced: true,
  heldS: 0,
  measured: { quantity: 'leak rate', value: 5.4, limit: 3.5, unit: 'kPa/min', quality: 'good' },
  evidence: null,
  forecast: null,
  advice: 'Stop at the next place that has air.',
  basis: 'common practice',
  vehicle: { speed: 88.1, lat: 41.2, lon: -96.1, age: 1 },
};

/** An office that does not exist: what it was asked stands in `asked`, and what it says is set from outside. */
export class MadeUpSource implements BoardSource {
  readonly store = new MemoryAccounts();
  readonly asked: unknown[] = [];
  readonly truckListeners = new Set<(truck: BoardTruck) => void>();
  readonly noteListeners = new Set<(notes: string[]) => void>();
  trucks: BoardTruck[] = [boardTruck('T-1042')];
  found: ReceivedEvent[] = [anEvent];
  /** Why the next wish is refused. */
  refusal: string | null = null;
  /** Thrown by whatever is asked next. */
  failure: Error | null = null;
  snapshots = 0;
  awake = 1;

  snapshot(): BoardSnapshot {
    this.snapshots++;
    return { nowMs: 1_000, trucks: this.trucks, counts: this.counts(), untakenMs: {}, notes: [] };
  }

  counts(): BoardSnapshot['counts'] {
    return { awake: this.awake, parked: 0, asleep: 0, off: 0, offline: 0, late: 0, 'not-heard': 0 };
  }

  onTruck(listener: (truck: BoardTruck) => void): () => void {
    this.truckListeners.add(listener);
    return () => this.truckListeners.delete(listener);
  }

  onNotes(listener: (notes: string[]) => void): () => void {
    this.noteListeners.add(listener);
    return () => this.noteListeners.delete(listener);
  }

  tell(truck: BoardTruck): void {
    for (const listener of this.truckListeners) listener(truck);
  }

  tellNotes(notes: string[]): void {
    for (const listener of this.noteListeners) listener(notes);
  }

  async truckPage(key: TruckKey): Promise<TruckPage | null> {
    this.#note({ truckPage: key });
    const truck = this.trucks.find((each) => each.fleet === key.fleet && each.truck === key.truck);
    if (truck === undefined) return null;
    const unknown = { config: null, version: null, bus: {}, reading: null, readingMs: null, check: null };
    return { truck, ...unknown, muted: [], notJudged: [], events: [], trips: [] };
  }

  async series(key: TruckKey, fromMs: number, toMs: number): Promise<Series> {
    this.#note({ series: key, fromMs, toMs });
    return { fromMs, toMs, r: {} };
  }

  async events(query: EventQuery): Promise<ReceivedEvent[]> {
    this.#note({ events: query });
    return this.found;
  }

  async wish(key: TruckKey, wish: Wish): Promise<string | null> {
    this.#note({ wish, key });
    return this.refusal;
  }

  async couple(key: TruckKey, trailer: string | null): Promise<string | null> {
    this.#note({ couple: trailer, key });
    return this.refusal;
  }

  #note(what: unknown): void {
    if (this.failure !== null) throw this.failure;
    this.asked.push(what);
  }
}
