import type { RunInfo } from '../../daemon/alerts/numbered.js';
import type { ReadingReport } from '../../daemon/effects.js';
import type { PublisherClock } from './clock.js';
import type { Answered } from './connection.js';
import type { Encoded } from './encode.js';
import { GapTracker } from './gap-tracker.js';
import { type Latest, LatestMessages } from './latest.js';
import type { OutboxSource, PresenceState } from './publisher-options.js';
import { SUSPECT_MS } from './suspects.js';
import type { TruckMessages } from './truck-messages.js';

/** One connection as this sender sees it. */
export interface LatestLane {
  /** How many messages may be sent now. */
  room(): number;
  send(name: Latest, encoded: Encoded, answered: Answered): void;
}

export interface LatestSenderOptions {
  source: OutboxSource;
  /** Whose word it takes for a gap to leave the store; the broker's without it. */
  confirm?: 'broker' | 'office';
  messages: TruckMessages;
  presence: PresenceState;
  /** The state has changed outside of a call of `pump`: call it. */
  changed(): void;
  storeFailed(error: unknown): void;
  clock: Pick<PublisherClock, 'after'>;
  /** What the broker refused is tried again after this long. */
  refusedMs: number;
}

/**
 * Sends `open`, `presence` and `reading`, of which only the newest counts, and what waits of `gap` and `trip`; at most one of
 * each is on its way. `open`, `gap` and `trip` are read from the store at the moment they are sent.
 */
export class LatestSender {
  readonly #options: LatestSenderOptions;
  readonly #latest = new LatestMessages();
  readonly #failed = new Set<Latest>();
  readonly #gaps = new GapTracker();
  #presence: PresenceState;
  #reading: { report: ReadingReport; run: RunInfo } | null = null;
  #lane: LatestLane | null = null;
  /** Messages that are being read from the store and have a place in the window reserved. */
  reserved = 0;
  tripsSent = 0;
  /** Timers of this connection. */
  readonly #cancels = new Set<() => void>();

  constructor(options: LatestSenderOptions) {
    this.#options = options;
    this.#presence = options.presence;
  }

  up(lane: LatestLane): void {
    this.down();
    this.#lane = lane;
    this.#gaps.restart();
    this.reserved = 0;
    if (this.#latest.restart()) {
      this.#later(SUSPECT_MS, () => this.#latest.trust());
    }
  }

  down(): void {
    this.#lane = null;
    for (const cancel of this.#cancels) cancel();
    this.#cancels.clear();
  }

  #later(ms: number, act: () => void): void {
    const cancel = this.#options.clock.after(ms, () => {
      this.#cancels.delete(cancel);
      act();
      this.#options.changed();
    });
    this.#cancels.add(cancel);
  }

  changed(name: Latest): void {
    this.#latest.changed(name);
  }

  /** Everything that names the store, or is read from it, is to be told anew. */
  storeChanged(): void {
    for (const name of ['presence', 'open', 'gap', 'trip'] as const) this.#latest.changed(name);
    this.#later(0, () => {});
  }

  /** The office has everything of that store up to and with seq. */
  received(store: string, seq: number): void {
    const { source, confirm } = this.#options;
    if (confirm !== 'office' || store !== source.opened.store) return;
    for (const gap of this.#gaps.received(store, seq))
      this.#left('gap', source.confirmGap?.(gap)).catch(this.#failedOf('gap'));
  }

  /** The office's number has not moved: it may not know of a gap. */
  sayGapsAgain(): void {
    this.#gaps.restart();
    this.#latest.changed('gap');
  }

  get presence(): PresenceState {
    return this.#presence;
  }

  set presence(state: PresenceState) {
    this.#presence = state;
    this.#latest.changed('presence');
  }

  reading(report: ReadingReport, run: RunInfo): void {
    this.#reading = { report, run };
    this.#latest.changed('reading');
  }

  /** After a failure of the store: what could not be read is tried again. */
  retry(): void {
    for (const name of this.#failed) this.#latest.changed(name);
    this.#failed.clear();
  }

  get boardCurrent(): boolean {
    return this.#latest.boardCurrent;
  }

  get idle(): boolean {
    return this.#latest.idle;
  }

  /** Sends whatever may be sent now; does nothing twice. */
  pump(): void {
    const lane = this.#lane;
    if (lane === null) return;
    while (lane.room() > 0) {
      const name = this.#latest.take();
      if (name === null) return;
      this.#sendOne(lane, name);
    }
  }

  #sendOne(lane: LatestLane, name: Latest): void {
    const { messages } = this.#options;
    const done = (): void => this.#latest.answered(name);
    if (name === 'presence') lane.send(name, messages.presence(this.#presence), this.#answered(name, done));
    else if (name === 'open') this.#fromStore(lane, name, () => this.#readOpen());
    else if (name === 'gap') this.#fromStore(lane, name, () => this.#readGap());
    else if (name === 'trip') this.#fromStore(lane, name, () => this.#readTrip());
    else if (this.#reading !== null) {
      lane.send(name, messages.reading(this.#reading.report, this.#reading.run), this.#answered(name, done));
    } else done();
  }

  #answered(name: Latest, acknowledged: () => void): Answered {
    const refused = (): void => {
      // Nothing else waits for what the broker does not want.
      this.#latest.answered(name);
      this.#later(this.#options.refusedMs, () => this.#latest.changed(name));
    };
    return { acknowledged, refused };
  }

  async #readOpen(): Promise<FromStore> {
    const open = await this.#options.source.open();
    return { encoded: open && this.#options.messages.open(open), arrived: async () => {} };
  }

  /** The first gap that was not sent. */
  async #readGap(): Promise<FromStore> {
    const { source, messages, confirm } = this.#options;
    const gap = this.#gaps.next((await source.gaps?.()) ?? []);
    if (gap === undefined) return { encoded: null, arrived: async () => {} };
    const arrived = (): Promise<void> => {
      const leaves = confirm !== 'office' || this.#gaps.acknowledged(gap, source.opened.store);
      return this.#left('gap', leaves ? source.confirmGap?.(gap) : undefined);
    };
    return { encoded: messages.gap(gap), arrived };
  }

  /**
   * The start check that waits longest, else the trip: the check is of the truck that drives now, and comes before the trip's
   * own summary. Its PUBACK is enough: the office has no number to confirm it by.
   */
  async #readTrip(): Promise<FromStore> {
    const { source, messages } = this.#options;
    const check = (await source.checks?.(1))?.[0];
    if (check !== undefined) {
      this.tripsSent += 1;
      const { boot, record } = check;
      return {
        encoded: messages.startCheck(check),
        arrived: () => this.#left('trip', source.confirmCheck?.({ boot, trip: record.values.trip })),
      };
    }
    const trip = (await source.trips?.(1))?.[0];
    if (trip === undefined) return { encoded: null, arrived: async () => {} };
    const { boot, record } = trip;
    this.tripsSent += 1;
    return {
      encoded: messages.trip(trip),
      arrived: () => this.#left('trip', source.confirmTrip?.({ boot, trip: record.trip })),
    };
  }

  /** Once the store knows that it has arrived, the next one is due. */
  async #left(name: Latest, confirmed: Promise<void> | undefined): Promise<void> {
    await confirmed;
    this.#latest.changed(name);
    this.#options.changed();
  }

  #failedOf(name: Latest): (error: unknown) => void {
    return (error) => {
      this.#failed.add(name);
      this.#options.storeFailed(error);
    };
  }

  #fromStore(lane: LatestLane, name: Latest, read: () => Promise<FromStore>): void {
    const failed = this.#failedOf(name);
    this.reserved += 1;
    read()
      .then(({ encoded, arrived }) => {
        if (this.#lane !== lane) return;
        this.reserved -= 1;
        if (encoded === null) {
          this.#latest.answered(name);
        } else {
          const acknowledged = (): void => {
            this.#latest.answered(name);
            arrived().catch(failed);
          };
          lane.send(name, encoded, this.#answered(name, acknowledged));
        }
        this.#options.changed();
      })
      .catch((error: unknown) => {
        failed(error);
        if (this.#lane !== lane) return;
        this.reserved -= 1;
        this.#latest.answered(name); // Events must not wait for a list that cannot be read.
        this.#options.changed();
      });
  }
}

/** What was read from the store: null when there is nothing to send, and what to do when it has arrived. */
interface FromStore {
  encoded: Encoded | null;
  arrived: () => Promise<void>;
}
