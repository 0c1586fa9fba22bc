import type { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { Numberer } from '../alerts/numbering.js';
import type { HistoryRow, TickEffects } from '../effects.js';
import { Pipeline, type Resume } from '../pipeline.js';
import { Stepper } from '../stepper.js';
import type { StreamMs } from '../time.js';

/** History waits at most this long, and at most so many rows, for an event to travel with. */
const HISTORY_MS = 5_000;
const HISTORY_ROWS = 5_000;
/** Commits on their way to the disk; beyond it a replay waits. */
const MOST_PENDING = 32;

export interface SessionOptions {
  config: TruckConfig;
  resume: Resume | null;
  run: RunInfo;
  store: Store | null;
  publisher?: Publisher | null;
  /** Monotonic milliseconds: only for how history is grouped. */
  nowMs: () => number;
  /** Numbered events, in order; with a store after they are on disk. */
  onEvents?: (events: NumberedEvent[]) => void;
  onEffects?: (effects: TickEffects) => void;
  /** What the store could not do; the session goes on. */
  onStoreError?: (error: unknown) => void;
}

/**
 * The one path from frames to the world: pipeline, ticks, store, publisher. `run` and `replay` differ in where frames and
 * time come from, and in nothing after that.
 */
export class Session {
  readonly pipeline: Pipeline;
  readonly stepper: Stepper;
  /** Wall time of stream time 0; a seam in a recording moves it. */
  run: RunInfo;
  publisher: Publisher | null;
  readonly #options: SessionOptions;
  readonly #numberer: Numberer | null;
  #history: HistoryRow[] = [];
  #committedMs: number;
  #commits: Promise<unknown> = Promise.resolve();

  constructor(options: SessionOptions) {
    const { config, resume, run, store } = options;
    this.#options = options;
    this.run = run;
    this.publisher = options.publisher ?? null;
    this.pipeline = new Pipeline(config, resume, run.synced ? run.zeroWallMs : null);
    this.stepper = new Stepper(
      this.pipeline,
      (effects) => this.#effects(effects),
      resume?.kind === 'same-run' ? resume.t : 0,
    );
    this.#numberer = store === null ? new Numberer({ truck: config.truck, store: 'replay' }) : null;
    this.#committedMs = options.nowMs();
  }

  /** Await before more frames are read: null when there is no need to. */
  backPressure(): Promise<unknown> | null {
    const { store } = this.#options;
    return store !== null && store.pending > MOST_PENDING ? this.#commits : null;
  }

  /** Everything up to t is decided and on disk. */
  async finish(t: StreamMs): Promise<void> {
    this.stepper.advance(t);
    if (this.#options.store !== null) this.#commit({ ...NOTHING, t });
    await this.#commits;
  }

  #effects(effects: TickEffects): void {
    this.#options.onEffects?.(effects);
    if (effects.reading !== null) this.publisher?.reading(effects.reading, this.run);
    if (this.#options.store === null) {
      if (effects.events.length > 0) this.#options.onEvents?.(this.#numberer!.number(effects.events, this.run));
      return;
    }
    for (const row of effects.history) this.#history.push(row);
    const due = this.#history.length >= HISTORY_ROWS || this.#options.nowMs() - this.#committedMs >= HISTORY_MS;
    if (effects.events.length > 0 || effects.open !== null || effects.flush || effects.trip !== null || due) {
      this.#commit(effects);
    }
  }

  /** One transaction: events, the state that follows from them, and the history that waited. */
  #commit(effects: Pick<TickEffects, 't' | 'events' | 'open' | 'trip'>): void {
    const store = this.#options.store!;
    const history = this.#history;
    this.#history = [];
    this.#committedMs = this.#options.nowMs();
    const state = JSON.stringify(this.pipeline.snapshot(effects.t));
    const { t, events, open, trip } = effects;
    this.#commits = store.commit({ t, events, open, state, history, trip }).then(
      (numbered) => {
        if (numbered.length > 0) this.#options.onEvents?.(numbered);
        if (numbered.length > 0) this.publisher?.poke();
        if (open !== null) this.publisher?.openChanged();
      },
      (error: unknown) => this.#options.onStoreError?.(error),
    );
  }
}

const NOTHING = { events: [], open: null, trip: null };
