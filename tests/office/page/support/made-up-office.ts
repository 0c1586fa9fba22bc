import type { ReceivedEvent } from '../../../../adapters/mqtt/messages.js';
import type { BoardAlert, BoardSnapshot, BoardTruck } from '../../../../office/core/board-model.js';
import type { TruckKey, Wish } from '../../../../office/core/model.js';
import type { BoardSource } from '../../../../office/web/board-source.js';
import { MemoryAccounts } from '../../web/support/accounts.js';
import { madeUpEvents, madeUpPage, madeUpSeries, madeUpSnapshot } from './made-up.js';

/** An office behind the real web server: a board of made-up trucks that does what it is asked. */
export class MadeUpOffice implements BoardSource {
  readonly store = new MemoryAccounts();
  readonly wishes: (TruckKey & Wish)[] = [];
  /** What the next wishes are refused with; null: they are taken. */
  refusal: string | null = null;
  board: BoardSnapshot;
  readonly #truckListeners = new Set<(truck: BoardTruck) => void>();
  readonly #noteListeners = new Set<(notes: string[]) => void>();

  constructor(board: BoardSnapshot = madeUpSnapshot(Date.now())) {
    this.board = board;
  }

  snapshot(): BoardSnapshot {
    return { ...this.board, nowMs: Date.now() };
  }

  onTruck(listener: (truck: BoardTruck) => void): () => void {
    this.#truckListeners.add(listener);
    return () => this.#truckListeners.delete(listener);
  }

  onNotes(listener: (notes: string[]) => void): () => void {
    this.#noteListeners.add(listener);
    return () => this.#noteListeners.delete(listener);
  }

  async truckPage({ truck }: TruckKey) {
    const found = this.board.trucks.find((one) => one.truck === truck);
    return found === undefined ? null : madeUpPage(Date.now(), found);
  }

  async series(_: TruckKey, fromMs: number, toMs: number) {
    return madeUpSeries(Date.now(), fromMs, toMs);
  }

  async events(): Promise<ReceivedEvent[]> {
    return madeUpEvents(Date.now());
  }

  async wish(key: TruckKey, wish: Wish): Promise<string | null> {
    this.wishes.push({ ...key, ...wish });
    if (this.refusal !== null) return this.refusal;
    this.change(key.truck, wish.alert, (alert) => ({
      ...alert,
      asked: { rev: 1, askedMs: Date.now(), ...wish },
      isTaken: alert.isTaken || wish.do === 'take',
      isSnoozed: wish.do === 'snooze',
    }));
    return null;
  }

  /** The truck tells its trailer with its next list; here at once. */
  async couple(key: TruckKey, trailer: string | null): Promise<string | null> {
    if (this.refusal !== null) return this.refusal;
    this.tell({ ...this.board.trucks.find(({ truck }) => truck === key.truck)!, trailer });
    return null;
  }

  /** One alert is another from now on, and everyone is told. */
  change(truck: string, alert: string, how: (alert: BoardAlert) => BoardAlert): void {
    const one = this.board.trucks.find((each) => each.truck === truck)!;
    this.tell({ ...one, alerts: one.alerts.map((each) => (each.id === alert ? how(each) : each)) });
  }

  /** A truck that has changed. */
  tell(truck: BoardTruck): void {
    const next = { ...truck, revision: truck.revision + 1 };
    const others = this.board.trucks.filter((one) => one.truck !== truck.truck);
    this.board = { ...this.board, trucks: [...others, next] };
    for (const listener of this.#truckListeners) listener(next);
  }

  tellNotes(notes: string[]): void {
    this.board = { ...this.board, notes };
    for (const listener of this.#noteListeners) listener(notes);
  }
}
