import type { NumberedEvent } from '../../daemon/alerts/numbered.js';
import type { PublisherClock } from './clock.js';
import { Confirmer } from './confirmer.js';
import type { Answered } from './connection.js';
import type { Encoded } from './encode.js';
import { EventWindow } from './event-window.js';
import type { OutboxSource, PublisherTimings } from './publisher-options.js';
import { VolatileQueue } from './volatile-queue.js';

/** One connection as the sender sees it. */
export interface Lane {
  /** How many messages may be sent now. */
  room(): number;
  /** `answered` is never called after the connection's end. */
  sendEvent(encoded: Encoded, answered: Answered): void;
}

export interface OutboxSenderOptions {
  source: OutboxSource;
  confirm: 'broker' | 'office';
  timings: PublisherTimings;
  clock: PublisherClock;
  encode(event: NumberedEvent): Encoded;
  /** The state has changed outside of a call of `pump`: call it. */
  changed(): void;
  storeFailed(error: unknown): void;
  /** Another store has taken its place. */
  storeChanged(): void;
  /** What is not confirmed is sent again. */
  resending?: () => void;
  /** One line for people. */
  warn?: (line: string) => void;
}

/**
 * Sends the store's outbox over one lane after the other, strictly by seq, and confirms to the store what has arrived.
 * Reads the outbox as it sends and holds nothing itself but a cursor and at most a window of numbers (volatile events excepted).
 */
export class OutboxSender {
  readonly #options: OutboxSenderOptions;
  readonly #volatile = new VolatileQueue();
  #lane: Lane | null = null;
  #store: string;
  #window: EventWindow;
  #confirmer: Confirmer;
  #moreWaiting = true;
  #fetching = false;
  #cancelResend: (() => void) | null = null;
  /** The broker does not want events: none is sent until this goes off. */
  #cancelRefused: (() => void) | null = null;
  #resendMs: number;
  /** Since when what was sent waits for a confirmation, monotonic; null: nothing does. */
  #unconfirmedSince: number | null = null;
  #saidUnconfirmed = false;
  readonly count = { eventsSent: 0, eventsRepeated: 0 };

  constructor(options: OutboxSenderOptions) {
    this.#options = options;
    this.#resendMs = options.timings.resendMs;
    this.#store = options.source.opened.store;
    this.#window = new EventWindow(options.source.opened.lastSeq);
    this.#confirmer = this.#newConfirmer();
  }

  up(lane: Lane): void {
    this.#lane = lane;
    this.#followStore();
    this.#window.restart();
    this.#volatile.restart();
    this.#moreWaiting = true;
    this.#resendMs = this.#options.timings.resendMs;
  }

  down(): void {
    this.#lane = null;
    this.#cancelResend?.();
    this.#cancelResend = null;
    this.#cancelRefused?.();
    this.#cancelRefused = null;
  }

  /** There may be new events in the outbox. */
  poke(): void {
    this.#moreWaiting = true;
  }

  volatile(events: readonly NumberedEvent[]): void {
    this.#volatile.push(events);
  }

  /** After a failure of the store: what it did not take is handed to it again. */
  retry(): void {
    this.#confirmer.upTo(0);
  }

  /** The office has everything of that store up to and with seq. */
  received(store: string, seq: number): void {
    this.#followStore();
    if (this.#options.confirm !== 'office' || store !== this.#store) return;
    if (seq > this.#window.lastKnown) {
      // The store finds that it is an older one, and begins anew.
      this.#options.source.confirm(seq).then(this.#options.changed, this.#options.storeFailed);
    }
    if (!this.#window.confirm(seq)) return;
    this.#confirmer.upTo(seq);
    this.#confirmed();
    this.#saidUnconfirmed = false;
    this.#resendMs = this.#options.timings.resendMs;
    this.#cancelResend?.();
    this.#cancelResend = null;
    this.#armResend();
  }

  /** Sends whatever may be sent now; does nothing twice. */
  pump(): void {
    const lane = this.#lane;
    if (lane === null || this.#cancelRefused !== null) return;
    this.#sendVolatile(lane);
    this.#fetch(lane);
  }

  /** Nothing waits, and everything sent is confirmed to the store as far as it will be. */
  get idle(): boolean {
    return !this.#moreWaiting && !this.#fetching && this.#volatile.empty && !this.#confirmer.busy;
  }

  get confirmedSeq(): number {
    return this.#window.confirmed;
  }

  /** Whole seconds; null: nothing that was sent waits. */
  get unconfirmedS(): number | null {
    const since = this.#unconfirmedSince;
    return since === null ? null : Math.floor((this.#options.clock.nowMs() - since) / 1000);
  }

  get volatileDropped(): number {
    return this.#volatile.dropped;
  }

  /** The confirmed number has moved, or numbers begin anew. */
  #confirmed(): void {
    const { highestSent, confirmed } = this.#window;
    this.#unconfirmedSince = highestSent > confirmed ? this.#options.clock.nowMs() : null;
  }

  #newConfirmer(): Confirmer {
    return new Confirmer(
      (seq) => this.#options.source.confirm(seq),
      (error) => this.#options.storeFailed(error),
      () => this.#options.changed(),
    );
  }

  /** A database that broke was moved aside: another store id, and numbers from 1 again. */
  #followStore(): void {
    const { store, lastSeq } = this.#options.source.opened;
    if (store === this.#store) return;
    this.#store = store;
    this.#window = new EventWindow(lastSeq);
    this.#confirmer = this.#newConfirmer();
    this.#moreWaiting = true;
    this.#confirmed();
    this.#options.storeChanged();
  }

  #sendVolatile(lane: Lane): void {
    while (lane.room() > 0) {
      const event = this.#volatile.take();
      if (event === null) return;
      this.count.eventsSent += 1;
      const acknowledged = (): void => this.#volatile.acknowledged(event);
      lane.sendEvent(this.#options.encode(event), { acknowledged, refused: () => this.#refused() });
    }
  }

  /** An event that is not wanted now waits, and all behind it: they go strictly by seq. */
  #refused(): void {
    if (this.#cancelRefused !== null) return;
    const { clock, timings, changed } = this.#options;
    this.#cancelRefused = clock.after(timings.refusedMs, () => {
      this.#cancelRefused = null;
      this.#window.restart();
      this.#volatile.restart();
      this.#moreWaiting = true;
      changed();
    });
  }

  /**
   * Reads the next events as soon as there is room for one. Reading several at a time would spare reads, but then nothing is
   * sent at the first PUBACK, and Nagle's algorithm at the broker waits for a delayed TCP acknowledgement in each window:
   * 350 instead of 1,900 events/s with mosquitto 2.0.11 on loopback.
   */
  #fetch(lane: Lane): void {
    this.#followStore();
    const room = lane.room();
    if (!this.#moreWaiting || this.#fetching || room <= 0) return;
    const window = this.#window;
    const { cursor } = window;
    this.#fetching = true;
    this.#moreWaiting = false;
    this.#options.source
      .outbox(cursor, room)
      .then((events) => {
        this.#fetching = false;
        if (events.length >= room) this.#moreWaiting = true;
        this.#followStore();
        // Meanwhile the lane or the store may be another one, or the office's number may have moved the cursor.
        if (this.#lane !== lane || this.#window !== window || window.cursor !== cursor) this.#moreWaiting = true;
        else this.#sendEvents(lane, events);
        this.#options.changed();
      })
      .catch((error: unknown) => {
        this.#fetching = false;
        this.#moreWaiting = true;
        this.#options.storeFailed(error);
      });
  }

  #sendEvents(lane: Lane, events: NumberedEvent[]): void {
    const window = this.#window;
    for (const event of events) {
      if (lane.room() <= 0 || event.store !== this.#store || this.#cancelRefused !== null) {
        this.#moreWaiting = true;
        break;
      }
      const encoded = this.#options.encode(event);
      this.count.eventsSent += 1;
      if (window.sent(event)) this.count.eventsRepeated += 1;
      const acknowledged = (): void => {
        const upTo = window.acknowledged(event.seq);
        if (upTo === null || this.#options.confirm !== 'broker' || window !== this.#window) return;
        window.confirm(upTo);
        this.#confirmer.upTo(upTo);
        this.#confirmed();
      };
      lane.sendEvent(encoded, { acknowledged, refused: () => this.#refused() });
    }
    if (window.highestSent > window.confirmed) this.#unconfirmedSince ??= this.#options.clock.nowMs();
    this.#armResend();
  }

  /** Office mode: while something sent is not confirmed, everything after the office's number is sent again in time. */
  #armResend(): void {
    const { confirm, clock, timings } = this.#options;
    if (confirm !== 'office' || this.#cancelResend !== null || this.#lane === null) return;
    if (this.#window.cursor <= this.#window.confirmed) return;
    this.#cancelResend = clock.after(this.#resendMs, () => {
      this.#cancelResend = null;
      this.#sayUnconfirmed();
      this.#options.resending?.();
      // Twice as long each time: an office that is away for a day must not cost a day's traffic every minute.
      this.#resendMs = Math.min(this.#resendMs * 2, timings.resendMaxMs);
      this.#window.restart();
      this.#moreWaiting = true;
      this.#options.changed();
    });
  }

  /** Once, until the office confirms something again. */
  #sayUnconfirmed(): void {
    if (this.#saidUnconfirmed) return;
    this.#saidUnconfirmed = true;
    this.#options.warn?.(
      `the office has confirmed nothing for ${this.unconfirmedS ?? 0} s: events stay in the store and are sent again; is it running? Where there is none, write confirm: broker`,
    );
  }
}
