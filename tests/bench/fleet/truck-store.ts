import type { OutboxSource } from '../../../adapters/mqtt/publisher-options.js';
import type { EventDraft } from '../../../daemon/alerts/event.js';
import type {
  NumberedCheck,
  NumberedEvent,
  NumberedOpen,
  NumberedTrip,
  RunInfo,
} from '../../../daemon/alerts/numbered.js';
import { checkOf, openAlertOf, type Trouble, tripOf } from './stories.js';

/** A simulated truck's store, in memory: events until the office has confirmed them, and what is open. */
export class TruckStore implements OutboxSource {
  readonly opened: { store: string; boot: number; lastSeq: number };
  readonly troubles: Trouble[] = [];
  readonly #run: RunInfo;
  readonly #now: () => number;
  /** Called when the office has confirmed so many events. */
  readonly #confirmed: (events: number) => void;
  #waiting: NumberedEvent[] = [];
  #trips: NumberedTrip[] = [];
  #checks: NumberedCheck[] = [];

  constructor(store: string, run: RunInfo, now: () => number, confirmed: (events: number) => void) {
    this.opened = { store, boot: 1, lastSeq: 0 };
    this.#run = run;
    this.#now = now;
    this.#confirmed = confirmed;
  }

  get waiting(): number {
    return this.#waiting.length;
  }

  commit(draft: EventDraft, alertId: string): void {
    const { store, boot } = this.opened;
    const seq = ++this.opened.lastSeq;
    const numbered = { seq, store, boot, stored: true, alertId, causeId: null, draft, run: this.#run, by: null };
    this.#waiting.push(numbered);
  }

  tripEnded(trip: number, startAt: number): void {
    this.#trips.push({ ...this.#identity(), record: tripOf(trip, startAt, this.#now()) });
  }

  tripChecked(trip: number, startAt: number): void {
    this.#checks.push({ ...this.#identity(), record: checkOf(trip, startAt, this.#now()) });
  }

  async outbox(after: number, limit: number): Promise<NumberedEvent[]> {
    const first = this.#waiting[0]?.seq ?? 0;
    const from = Math.max(0, after + 1 - first);
    return this.#waiting.slice(from, from + limit);
  }

  async confirm(seq: number): Promise<void> {
    const count = this.#waiting.findIndex((event) => event.seq > seq);
    const gone = count === -1 ? this.#waiting.length : count;
    this.#waiting = this.#waiting.slice(gone);
    this.#confirmed(gone);
  }

  async open(): Promise<NumberedOpen> {
    const t = this.#now();
    const { store, lastSeq } = this.opened;
    const open = {
      ...{ t, trailer: 'TR-77', muted: [], notJudged: [] },
      alerts: this.troubles.map((trouble) => openAlertOf(trouble, t)),
    };
    const alertIds = this.troubles.map((trouble) => trouble.id);
    return { store, asOf: lastSeq, alertIds, causeIds: alertIds.map(() => null), open, run: this.#run };
  }

  async trips(limit: number): Promise<NumberedTrip[]> {
    return this.#trips.slice(0, limit);
  }

  async confirmTrip(): Promise<void> {
    this.#trips.shift();
  }

  async checks(limit: number): Promise<NumberedCheck[]> {
    return this.#checks.slice(0, limit);
  }

  async confirmCheck(): Promise<void> {
    this.#checks.shift();
  }

  #identity(): { store: string; boot: number; run: RunInfo; by: null } {
    const { store, boot } = this.opened;
    return { store, boot, run: this.#run, by: null };
  }
}
