import type { ReceivedEvent } from '../../adapters/mqtt/messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { BoardSnapshot, BoardTruck, Series, TruckPage } from '../core/board-model.js';
import type { TruckKey, Wish } from '../core/model.js';
import type { EventQuery, OfficeStore } from '../store/contract.js';

/** What the web server asks of the office. office/service/ implements it; tests of the web put a made-up one in its place. */
export interface BoardSource {
  snapshot(): BoardSnapshot;
  /** Called with each truck that changed, at most once in 200 ms per truck; gives the way to end it. */
  onTruck(listener: (truck: BoardTruck) => void): () => void;
  /** Lines of `BoardSnapshot.notes` have changed. */
  onNotes(listener: (notes: string[]) => void): () => void;
  /**
   * `BoardSnapshot.counts` as they are now; cheap, as it is asked every 15 s. Trucks that the board does not list are in them, so a page
   * cannot count for itself.
   */
  counts?(): BoardSnapshot['counts'];
  truckPage(key: TruckKey): Promise<TruckPage | null>;
  series(key: TruckKey, fromMs: WallMs, toMs: WallMs): Promise<Series>;
  events(query: EventQuery): Promise<ReceivedEvent[]>;
  /** Null when it was accepted; else one line that says why not. */
  wish(key: TruckKey, wish: Wish): Promise<string | null>;
  /** The trailer that is coupled, as people know it; null: nobody says. Answers as `wish` does. */
  couple(key: TruckKey, trailer: string | null): Promise<string | null>;
  /** Accounts and sessions. */
  readonly store: Pick<
    OfficeStore,
    'account' | 'accounts' | 'putAccount' | 'removeAccount' | 'session' | 'putSession' | 'removeSession'
  >;
}
