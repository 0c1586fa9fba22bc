import type { AnswerMessage } from '../../adapters/mqtt/messages.js';
import { nextLookMs } from '../core/attention.js';
import { boardTruck } from '../core/board.js';
import type { BoardTruck } from '../core/board-model.js';
import { couple, decide } from '../core/decide.js';
import {
  type FleetRules,
  type Incoming,
  newTruckState,
  type TruckKey,
  type TruckState,
  type Wish,
} from '../core/model.js';
import { type Batch, type OfficeStore, StoreError } from '../store/contract.js';
import type { BoardSource } from '../web/board-source.js';
import { Answers } from './answers.js';
import { type OfficeClock, repeatedly } from './clock.js';
import { Gatherer } from './gatherer.js';
import { truckPageOf } from './pages.js';
import { Reloads } from './reloads.js';
import { seriesOf } from './series.js';
import { step } from './step.js';
import { View } from './view.js';

/** How often it is looked which trucks have something due. */
const LOOK_MS = 1_000;
/** How often answers are offered to a broker that has not taken them. */
const RESEND_MS = 2_000;
const PRUNE_MS = 3_600_000;
/** Rows that are deleted in one go: 5,000 held the thread for a sixth of a second. */
const PRUNE_ROWS = 500;

/** What the office needs of its connection to the broker. */
export interface OfficeLink {
  readonly isConnected: boolean;
  answer(key: TruckKey, answer: AnswerMessage): Promise<void>;
  close(): Promise<void>;
}

export interface OfficeOptions {
  store: OfficeStore;
  clock: OfficeClock;
  rulesOf(fleet: string): FleetRules;
  /** Opens the connection; what it hears goes to take, what there is to say of it to onNotes. */
  connect(
    take: (key: TruckKey, incoming: Incoming) => void | Promise<void>,
    onNotes: (notes: readonly string[]) => void,
  ): OfficeLink;
  keepMs: number;
  /** Trucks that are expected on some days: they are missed also when they were never heard. */
  expected?: readonly TruckKey[];
  log: { warn(line: string): void; error(line: string): void };
}

/** Ties the store, the broker and the board together. Everything that is written goes through the gatherer, bar people's wishes. */
export class Office implements BoardSource {
  readonly store: OfficeStore;
  readonly gatherer: Gatherer;
  readonly view: View;
  readonly answers: Answers;
  readonly #options: OfficeOptions;
  readonly #link: OfficeLink;
  readonly #reloads: Reloads;
  /** When something falls due with time alone, by truck: an answer that was too early, an alert that nobody takes. */
  readonly #due = new Map<string, { key: TruckKey; dueMs: number }>();
  /** Since when the broker is there; null while it is away. */
  #listeningMs: number | null = null;
  readonly #noteListeners = new Set<(notes: string[]) => void>();
  readonly #notes = { broker: [] as readonly string[], store: null as string | null };
  readonly #ends: (() => void)[];

  /** Reads what is stored, then listens. Rejects with a StoreError. */
  static async start(options: OfficeOptions): Promise<Office> {
    const view = new View(options);
    for await (const { key, state } of options.store.trucks()) view.put(key, state);
    for (const key of options.expected ?? []) if (view.get(key) === null) view.put(key, newTruckState());
    return new Office(options, view);
  }

  private constructor(options: OfficeOptions, view: View) {
    const { store, clock, log } = options;
    this.#options = options;
    this.store = store;
    this.view = view;
    this.gatherer = new Gatherer({
      store,
      clock,
      fold: (key, state, fresh) => this.#step(key, state, fresh),
      stored: (batches, states) => this.#stored(batches, states),
      onTrouble: (line) => this.#setStoreNote(line),
      onMistake: (key, error) =>
        log.error(`${key.fleet}/${key.truck}: a mistake in this program, messages left out: ${error}`),
    });
    this.answers = new Answers({ clock, publish: (key, answer) => this.#link.answer(key, answer) });
    view.listeningMs = () => this.#listeningMs;
    for (const { key, state } of view) this.#note(key, state);
    this.#reloads = new Reloads({
      store,
      clock,
      known: (key) => view.get(key)?.revision ?? -1,
      loaded: (key, state) => {
        view.put(key, state);
        this.#note(key, state);
      },
      onTrouble: (line) => this.#setStoreNote(line),
    });
    store.onChanged((key, revision) => this.#reloads.take(key, revision));
    this.#link = options.connect(
      (key, incoming) => this.gatherer.take(key, incoming),
      (notes) => this.#setBrokerNotes(notes),
    );
    const failed = (error: unknown): void => log.error(String(error));
    this.#ends = [
      repeatedly(clock, LOOK_MS, () => this.#look(), failed),
      repeatedly(clock, RESEND_MS, () => this.answers.resend(), failed),
      repeatedly(clock, PRUNE_MS, () => this.#prune(), failed),
    ];
  }

  snapshot(): ReturnType<BoardSource['snapshot']> {
    return this.view.snapshot(this.notes);
  }

  counts(): ReturnType<View['counts']> {
    return this.view.counts();
  }

  onTruck(listener: (truck: BoardTruck) => void): () => void {
    return this.view.onTruck(listener);
  }

  onNotes(listener: (notes: string[]) => void): () => void {
    this.#noteListeners.add(listener);
    return () => this.#noteListeners.delete(listener);
  }

  /** What does not work, one line each. */
  get notes(): string[] {
    const { broker, store } = this.#notes;
    return store === null ? [...broker] : [store, ...broker];
  }

  async truckPage(key: TruckKey): ReturnType<BoardSource['truckPage']> {
    const state = await this.store.truck(key);
    if (state === null) return null;
    const rules = this.#options.rulesOf(key.fleet);
    const truck = boardTruck(key, state, rules, this.#options.clock.nowMs(), this.#listeningMs);
    return truckPageOf(this.store, key, state, truck);
  }

  series(key: TruckKey, fromMs: number, toMs: number): ReturnType<BoardSource['series']> {
    return seriesOf(this.store, key, fromMs, toMs);
  }

  events(query: Parameters<BoardSource['events']>[0]): ReturnType<BoardSource['events']> {
    return this.store.events(query);
  }

  wish(key: TruckKey, wish: Wish): Promise<string | null> {
    return this.#ask(key, (state) => decide(key, state, wish, this.#options.clock.nowMs()));
  }

  couple(key: TruckKey, trailer: string | null): Promise<string | null> {
    return this.#ask(key, (state) => couple(state, trailer));
  }

  /** What a person wants goes to the truck at once, not with the next messages. Gives why it is refused, or null. */
  async #ask(key: TruckKey, decided: (state: TruckState) => ReturnType<typeof decide>): Promise<string | null> {
    let refused: string | null = 'this truck is not known';
    try {
      const state = await this.store.change(key, (_, before) => {
        const outcome = decided(before);
        refused = 'refused' in outcome ? outcome.refused : null;
        if ('refused' in outcome) return null;
        const { state: after, notices } = outcome.folded;
        const folded = this.#step(key, after, []);
        return { state: folded.state, notices: [...notices, ...folded.notices] };
      });
      if (state !== null) this.#take(key, state, []);
      return refused;
    } catch (error) {
      if (!(error instanceof StoreError)) throw error;
      this.#setStoreNote(error.message);
      return `it could not be stored: ${error.message}`;
    }
  }

  /** Stores what has come, then ends. */
  async close(): Promise<void> {
    for (const end of this.#ends) end();
    this.#reloads.close();
    await this.#link.close();
    await this.gatherer.drained();
    this.view.close();
    await this.store.close();
  }

  #step(key: TruckKey, before: TruckState, fresh: readonly Incoming[]): ReturnType<typeof step>['folded'] {
    const { folded, answerRev } = step(
      key,
      before,
      fresh,
      this.#options.rulesOf(key.fleet),
      this.#options.clock.nowMs(),
    );
    if (answerRev !== null) this.answers.made(key, answerRev);
    return folded;
  }

  #stored(batches: readonly Batch[], states: readonly TruckState[]): void {
    for (const [i, { key, messages }] of batches.entries()) this.#take(key, states[i]!, messages);
  }

  #take(key: TruckKey, state: TruckState, messages: readonly Incoming[]): void {
    this.view.put(key, state);
    this.answers.stored(key, state, messages);
    this.#note(key, state);
  }

  #note(key: TruckKey, state: TruckState): void {
    const name = `${key.fleet}/${key.truck}`;
    const dueMs = nextLookMs(state, this.#options.rulesOf(key.fleet), this.#options.clock.nowMs());
    if (dueMs === null) this.#due.delete(name);
    else this.#due.set(name, { key, dueMs });
  }

  /** While the office does not listen, silence says nothing of trucks. */
  #listen(): void {
    if (!this.#link.isConnected) this.#listeningMs = null;
    else this.#listeningMs ??= this.#options.clock.nowMs();
  }

  /** Trucks of which something is due with time alone go through the gatherer; what comes of it says when to look again. */
  #look(): void {
    this.#listen();
    const nowMs = this.#options.clock.nowMs();
    for (const [name, { key, dueMs }] of this.#due) {
      if (dueMs > nowMs) continue;
      this.#due.delete(name);
      this.gatherer.nudge(key);
    }
  }

  async #prune(): Promise<void> {
    const nowMs = this.#options.clock.nowMs();
    while ((await this.store.prune(nowMs - this.#options.keepMs, nowMs, PRUNE_ROWS)) >= PRUNE_ROWS) {
      await new Promise<void>((resolve) => this.#options.clock.after(100, resolve));
    }
  }

  #setStoreNote(line: string | null): void {
    const note = line === null ? null : `The store cannot be used: ${line}. Trucks keep what is not confirmed.`;
    if (note === this.#notes.store) return;
    this.#notes.store = note;
    if (note !== null) this.#options.log.warn(note);
    this.#tellNotes();
  }

  #setBrokerNotes(notes: readonly string[]): void {
    for (const note of notes) if (!this.#notes.broker.includes(note)) this.#options.log.warn(note);
    this.#notes.broker = notes;
    this.#tellNotes();
  }

  #tellNotes(): void {
    const { notes } = this;
    for (const listener of this.#noteListeners) listener(notes);
  }
}
