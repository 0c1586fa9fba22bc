import type { Publisher } from '../../adapters/mqtt/publisher.js';
import type { PresenceState } from '../../adapters/mqtt/publisher-options.js';
import type { Commit, Store } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { EventDraft, OpenDraft } from '../alerts/event.js';
import { isoTime } from '../alerts/iso-time.js';
import type { DecidedBy, NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { Numberer } from '../alerts/numbering.js';
import type { HistoryRow, TickEffects, TripRecord } from '../effects.js';
import type { RareInput } from '../input.js';
import { Pipeline, type Resume } from '../pipeline.js';
import { Stepper } from '../stepper.js';
import type { StreamMs } from '../time.js';
import type { RecordOf, TruckRecord } from '../truck/records.js';
import type { Watch } from '../watch.js';
import { VERSION } from './version.js';

/** History waits at most this long, and at most so many rows, for an event to travel with. */
const HISTORY_MS = 5_000;
const HISTORY_ROWS = 5_000;
/** History rows kept while the store cannot be written, about a quarter of an hour of a long combination; the oldest go first. */
export const MOST_ROWS = 20_000;
/** Likewise for records: hours of a city bus, and some 2 MB. */
export const MOST_RECORDS = 2_000;
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
  /** Numbers events where there is no store; a replay of several runs has one for all. */
  numberer?: Numberer;
  /** Bus name → how it is listened to, for `presence`. */
  bus?: PresenceState['bus'];
  /** Numbered events, in order; with a store after they are on disk. */
  onEvents?: (events: NumberedEvent[]) => void;
  /** Start checks and trips that have ended, in order with the events; with a store after they are on disk. */
  onTrips?: (told: TripsTold) => void;
  /** The store could not take these events; nothing else of them is kept. The session goes on and tries again. */
  onUnstored?: (events: EventDraft[], error: unknown) => void;
  /** The store could not be opened yet: it is owed the open alerts. */
  isUnstored?: boolean;
  /** The store takes events again. */
  onStoreBack?: () => void;
  /** The bus has gone quiet: power may go, so everything belongs on disk now. */
  onQuiet?: () => void;
  /** Looks on, at ticks that decide nothing too. */
  watch?: Watch | null;
}

/** What there is to tell of trips. Times are stream time of `run`. */
export interface TripsTold {
  checks: RecordOf<'start-check'>[];
  trip: TripRecord | null;
  run: RunInfo;
}

type Decided = Pick<TickEffects, 't' | 'events' | 'open' | 'trip'>;

/**
 * The one path from frames to the world: pipeline, ticks, store, publisher. `run` and `replay` differ in where frames and
 * time come from, and in nothing after that.
 */
export class Session {
  readonly stepper: Stepper;
  /** History rows and records that were dropped while the store could not be written. */
  droppedRows = 0;
  readonly #options: SessionOptions;
  readonly #numberer: Numberer | null;
  #run: RunInfo;
  #config: TruckConfig;
  #publisher: Publisher | null;
  #presence: PresenceState;
  #history: HistoryRow[] = [];
  #records: TruckRecord[] = [];
  #committedMs: number;
  #commits: Promise<unknown> = Promise.resolve();
  /** When the commits under way were handed over, oldest first. */
  readonly #sentMs: number[] = [];
  #clockOwed = false;
  #lastOpen: OpenDraft | null = null;
  /** Since the store refused a commit: the next one brings the open alerts along, and this trip. */
  #owed: { trip: TripRecord | null } | null = null;

  constructor(options: SessionOptions) {
    const { config, resume, run, store } = options;
    this.#options = options;
    this.#run = run;
    this.#presence = { state: 'awake', bus: options.bus ?? {}, degraded: [], since: this.#at(0) };
    this.#config = config;
    this.#publisher = options.publisher ?? null;
    this.stepper = new Stepper(
      new Pipeline(config, resume, run.synced ? run.zeroWallMs : null),
      (effects) => this.#effects(effects),
      resume?.kind === 'same-run' ? resume.t : 0,
      options.watch ? (t, pipeline, effects) => options.watch?.tick(t, pipeline, effects) : null,
    );
    const numberer = options.numberer ?? new Numberer({ truck: config.truck, store: 'replay' });
    this.#numberer = store === null ? numberer : null;
    this.#committedMs = options.nowMs();
    if (options.isUnstored === true) this.#owed = { trip: null };
  }

  /** The pipeline that is in force; a reload replaces it. */
  get pipeline(): Pipeline {
    return this.stepper.pipeline;
  }

  /** The configuration that is in force. */
  get config(): TruckConfig {
    return this.#config;
  }

  /** An answer of the office, another configuration, or the wall clock. */
  rare(input: RareInput): void {
    // What is due before it is decided, and signed, by what was in force.
    this.stepper.advance(input.t - 1);
    if (input.kind === 'reload') this.#config = input.config;
    this.stepper.rare(input);
    if (input.kind === 'reload') this.#options.watch?.reload(input.t, input.config);
  }

  /** What decides now. */
  get by(): DecidedBy {
    return { config: this.#config.hash, version: VERSION };
  }

  /** From now on changes go there, first of all how the unit is. */
  publishTo(publisher: Publisher | null): void {
    this.#publisher = publisher;
    publisher?.presence(this.#presence);
  }

  /** Wall time of stream time 0, as best known. */
  get run(): RunInfo {
    return this.#run;
  }

  /** The wall clock of this run is now better known. Told to the store again later if it cannot be written now. */
  setRun(run: RunInfo): void {
    this.#run = run;
    this.#options.watch?.clock(run.zeroWallMs, run.synced);
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
    this.#options.watch?.seam(t, zeroWallMs);
  }

  /** Tells the office what has changed about the unit itself. */
  presence(change: Partial<Pick<PresenceState, 'state' | 'bus' | 'degraded'>>, t: StreamMs): void {
    const since = change.state === undefined ? this.#presence.since : this.#at(t);
    this.#presence = { ...this.#presence, ...change, since };
    this.#publisher?.presence(this.#presence);
  }

  /** For how long the oldest commit under way has waited for the disk; 0: none is. */
  get oldestCommitMs(): number {
    const oldest = this.#sentMs[0];
    return oldest === undefined ? 0 : this.#options.nowMs() - oldest;
  }

  /** Await before more frames are read: null when there is no need to. */
  backPressure(): Promise<unknown> | null {
    const { store } = this.#options;
    return store !== null && store.pending > MOST_PENDING ? this.#commits : null;
  }

  /** Writes what has waited long enough. For a live run, after its ticks. */
  settle(t: StreamMs): void {
    const waiting = this.#history.length + this.#records.length;
    if (this.#options.store === null || (waiting === 0 && this.#owed === null)) return;
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
    const { store } = this.#options;
    const publisher = this.#publisher;
    if (effects.life !== null) this.presence({ state: effects.life }, effects.t);
    if (effects.reading !== null) publisher?.reading(effects.reading, this.#run);
    if (store === null) {
      if (effects.events.length > 0)
        this.#options.onEvents?.(this.#numberer!.number(effects.events, this.#run, this.by));
      this.#tellTrips(effects, this.#run);
      return;
    }
    for (const row of effects.history) this.#history.push(row);
    for (const record of effects.records) this.#records.push(record);
    const { events, open, flush, trip, records } = effects;
    const told = trip !== null || records.some(({ kind }) => kind === 'start-check');
    if (events.length > 0 || open !== null || flush || told || this.#isDue) this.#commit(effects);
    if (effects.flush) this.#options.onQuiet?.();
  }

  /** One transaction: events, the state that follows from them, and the history that waited. */
  #commit({ t, events, open, trip }: Decided): void {
    const history = this.#history;
    const records = this.#records;
    this.#history = [];
    this.#records = [];
    this.#committedMs = this.#options.nowMs();
    if (open !== null) this.#lastOpen = open;
    const owed = this.#owed;
    const commit = {
      t,
      by: this.by,
      events,
      open: owed === null ? open : this.#lastOpen,
      state: JSON.stringify(this.pipeline.snapshot(t)),
      history,
      records,
      trip: trip ?? owed?.trip ?? null,
    };
    const run = this.#run;
    this.#sentMs.push(this.#committedMs);
    this.#commits = this.#options.store!.commit(commit).then(
      (numbered) => {
        this.#sentMs.shift();
        if (owed !== null && owed === this.#owed) this.#back();
        this.#stored(numbered, run, commit.open !== null);
        this.#tellTrips(commit, run);
      },
      (error: unknown) => {
        this.#sentMs.shift();
        this.#refused(commit, error);
      },
    );
  }

  #stored(numbered: NumberedEvent[], run: RunInfo, openChanged: boolean): void {
    const { onEvents } = this.#options;
    const publisher = this.#publisher;
    if (this.#clockOwed) this.setRun(this.#run);
    if (numbered.length > 0) {
      onEvents?.(numbered.map((event) => ({ ...event, run })));
      publisher?.poke();
    }
    if (openChanged) publisher?.openChanged();
  }

  #tellTrips({ trip, records }: Pick<TickEffects, 'trip' | 'records'>, run: RunInfo): void {
    const ended = trip?.provisional === false ? trip : null;
    const checks = records.filter((record) => record.kind === 'start-check');
    if (ended === null && checks.length === 0) return;
    this.#options.onTrips?.({ checks, trip: ended, run });
    this.#publisher?.poke();
  }

  #back(): void {
    this.#owed = null;
    this.#options.onStoreBack?.();
  }

  /** The events themselves are the caller's; everything else goes with a later commit. */
  #refused({ events, history, records, trip }: Commit, error: unknown): void {
    this.#owed = { trip: trip ?? this.#owed?.trip ?? null };
    this.#history = [...history, ...this.#history];
    this.#records = [...records, ...this.#records];
    this.droppedRows += dropOldest(this.#history, MOST_ROWS) + dropOldest(this.#records, MOST_RECORDS);
    this.#options.onUnstored?.(events, error);
  }
}

/** Gives how many were dropped. */
function dropOldest(list: unknown[], most: number): number {
  return list.splice(0, Math.max(0, list.length - most)).length;
}

const NOTHING = { events: [], open: null, trip: null };
