import type { Publisher } from '../../adapters/mqtt/publisher.js';
import type { PresenceState } from '../../adapters/mqtt/publisher-options.js';
import type { Store } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { EventDraft, OpenDraft } from '../alerts/event.js';
import { isoTime } from '../alerts/iso-time.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { Numberer } from '../alerts/numbering.js';
import type { HistoryRow, TickEffects, TripRecord } from '../effects.js';
import { Pipeline, type Resume } from '../pipeline.js';
import { Stepper } from '../stepper.js';
import type { StreamMs } from '../time.js';

/** History waits at most this long, and at most so many rows, for an event to travel with. */
const HISTORY_MS = 5_000;
const HISTORY_ROWS = 5_000;
/** History rows kept while the store cannot be written, about a quarter of an hour of a long combination; the oldest go first. */
export const MOST_ROWS = 20_000;
/** Commits on their way to the disk, each with a state of some 100 KB; beyond it a replay waits. */
const MOST_PENDING = 8;

export interface SessionOptions {
  config: TruckConfig;
  resume: Resume | null;
  run: RunInfo;
  store: Store | null;
  publisher?: Publisher | null;
  /** Monotonic milliseconds: only for how history is grouped. */
  nowMs: () => number;
  /** Bus name → how it is listened to, for `presence`. */
  bus?: PresenceState['bus'];
  /** Numbered events, in order; with a store after they are on disk. */
  onEvents?: (events: NumberedEvent[]) => void;
  /** The store could not take these events; nothing else of them is kept. The session goes on and tries again. */
  onUnstored?: (events: EventDraft[], error: unknown) => void;
  /** The store takes events again. */
  onStoreBack?: () => void;
}

type Decided = Pick<TickEffects, 't' | 'events' | 'open' | 'trip'>;

/**
 * The one path from frames to the world: pipeline, ticks, store, publisher. `run` and `replay` differ in where frames and
 * time come from, and in nothing after that.
 */
export class Session {
  readonly pipeline: Pipeline;
  readonly stepper: Stepper;
  /** History rows that were dropped while the store could not be written. */
  droppedRows = 0;
  readonly #options: SessionOptions;
  readonly #numberer: Numberer | null;
  #run: RunInfo;
  #presence: PresenceState;
  #history: HistoryRow[] = [];
  #committedMs: number;
  #commits: Promise<unknown> = Promise.resolve();
  #clockOwed = false;
  #lastOpen: OpenDraft | null = null;
  /** Since the store refused a commit: the next one brings the open alerts along, and this trip. */
  #owed: { trip: TripRecord | null } | null = null;

  constructor(options: SessionOptions) {
    const { config, resume, run, store } = options;
    this.#options = options;
    this.#run = run;
    this.#presence = { state: 'awake', bus: options.bus ?? {}, degraded: [], since: this.#at(0) };
    this.pipeline = new Pipeline(config, resume, run.synced ? run.zeroWallMs : null);
    this.stepper = new Stepper(
      this.pipeline,
      (effects) => this.#effects(effects),
      resume?.kind === 'same-run' ? resume.t : 0,
    );
    this.#numberer = store === null ? new Numberer({ truck: config.truck, store: 'replay' }) : null;
    this.#committedMs = options.nowMs();
  }

  /** Wall time of stream time 0, as best known. */
  get run(): RunInfo {
    return this.#run;
  }

  /** The wall clock of this run is now better known. Told to the store again later if it cannot be written now. */
  setRun(run: RunInfo): void {
    this.#run = run;
    this.#clockOwed = false;
    this.#options.store?.clock(run).catch(() => {
      this.#clockOwed = true;
    });
  }

  /**
   * The stamps of a recording jumped back: t is where the stream goes on. What came before keeps its stamps; a database has
   * one zero per start and keeps the first.
   */
  seam(t: StreamMs, zeroWallMs: number): void {
    this.stepper.advance(t);
    this.#run = { ...this.#run, zeroWallMs };
    this.stepper.seam(t);
  }

  /** Tells the office what has changed about the unit itself. */
  presence(change: Partial<Pick<PresenceState, 'state' | 'bus' | 'degraded'>>, t: StreamMs): void {
    const since = change.state === undefined ? this.#presence.since : this.#at(t);
    this.#presence = { ...this.#presence, ...change, since };
    this.#options.publisher?.presence(this.#presence);
  }

  /** Await before more frames are read: null when there is no need to. */
  backPressure(): Promise<unknown> | null {
    const { store } = this.#options;
    return store !== null && store.pending > MOST_PENDING ? this.#commits : null;
  }

  /** Writes what has waited long enough. For a live run, after its ticks. */
  settle(t: StreamMs): void {
    if (this.#options.store === null || (this.#history.length === 0 && this.#owed === null)) return;
    if (this.#isDue) this.#commit({ ...NOTHING, t });
  }

  /** Everything up to t is decided and on disk. */
  async finish(t: StreamMs): Promise<void> {
    this.stepper.advance(t);
    if (this.#options.store !== null) this.#commit({ ...NOTHING, t });
    await this.#commits;
  }

  get #isDue(): boolean {
    return this.#history.length >= HISTORY_ROWS || this.#options.nowMs() - this.#committedMs >= HISTORY_MS;
  }

  #at(t: StreamMs): string | null {
    return this.#run.synced ? isoTime(this.#run.zeroWallMs + t) : null;
  }

  #effects(effects: TickEffects): void {
    const { store, publisher } = this.#options;
    if (effects.life !== null) this.presence({ state: effects.life }, effects.t);
    if (effects.reading !== null) publisher?.reading(effects.reading, this.#run);
    if (store === null) {
      if (effects.events.length > 0) this.#options.onEvents?.(this.#numberer!.number(effects.events, this.#run));
      return;
    }
    for (const row of effects.history) this.#history.push(row);
    if (effects.events.length > 0 || effects.open !== null || effects.flush || effects.trip !== null || this.#isDue) {
      this.#commit(effects);
    }
  }

  /** One transaction: events, the state that follows from them, and the history that waited. */
  #commit({ t, events, open, trip }: Decided): void {
    const history = this.#history;
    this.#history = [];
    this.#committedMs = this.#options.nowMs();
    if (open !== null) this.#lastOpen = open;
    const owed = this.#owed;
    const commit = {
      t,
      events,
      open: owed === null ? open : this.#lastOpen,
      state: JSON.stringify(this.pipeline.snapshot(t)),
      history,
      trip: trip ?? owed?.trip ?? null,
    };
    const run = this.#run;
    this.#commits = this.#options.store!.commit(commit).then(
      (numbered) => {
        if (owed !== null && owed === this.#owed) this.#back();
        this.#stored(numbered, run, commit.open !== null);
      },
      (error: unknown) => this.#refused(commit, error),
    );
  }

  #stored(numbered: NumberedEvent[], run: RunInfo, openChanged: boolean): void {
    const { publisher, onEvents } = this.#options;
    if (this.#clockOwed) this.setRun(this.#run);
    if (numbered.length > 0) {
      onEvents?.(numbered.map((event) => ({ ...event, run })));
      publisher?.poke();
    }
    if (openChanged) publisher?.openChanged();
  }

  #back(): void {
    this.#owed = null;
    this.#options.onStoreBack?.();
  }

  /** The events themselves are the caller's; everything else goes with a later commit. */
  #refused({ events, history, trip }: Decided & { history: HistoryRow[] }, error: unknown): void {
    this.#owed = { trip: trip ?? this.#owed?.trip ?? null };
    this.#history = [...history, ...this.#history];
    const excess = this.#history.length - MOST_ROWS;
    if (excess > 0) {
      this.droppedRows += excess;
      this.#history.splice(0, excess);
    }
    this.#options.onUnstored?.(events, error);
  }
}

const NOTHING = { events: [], open: null, trip: null };
