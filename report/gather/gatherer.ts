import type { Mark, TruckConfig } from '../../config/resolved.js';
import type { EventDraft } from '../../daemon/alerts/event.js';
import type { NumberedEvent } from '../../daemon/alerts/numbered.js';
import type { HistoryRow, LifeState, TickEffects, TripRecord } from '../../daemon/effects.js';
import { marksInForce } from '../../daemon/monitors/marks.js';
import type { Pipeline } from '../../daemon/pipeline.js';
import type { StreamMs, WallMs } from '../../daemon/time.js';
import type { Watch } from '../../daemon/watch.js';
import type { Gathered, GatheredEvent, GatheredSource, MinuteSeries, SampleSeries } from '../gathered.js';
import { Growing } from './growing.js';
import { Lists } from './lists.js';
import { MutedSpans } from './muted-spans.js';
import { addCounts, newTally, noteLines, type Tally } from './notes.js';
import { Readings } from './readings.js';
import { Room } from './room.js';
import { type ClockSteps, RunClock } from './run-clock.js';
import { endedStanding, LEAST_GAP_MS, Silence } from './silence.js';
import { spansAround } from './thinning.js';

export interface GathererOptions {
  /** Version of the program that decides. */
  version: string;
  /** Is stream time t of a run with this wall clock part of the report? Once it is, the rest of the run is. */
  isShown(t: StreamMs, zeroWallMs: WallMs): boolean;
  room?: Room;
}

/** A run that begins. */
export interface RunBegin {
  /** Stream time at which it begins. */
  t: StreamMs;
  pipeline: Pipeline;
  config: TruckConfig;
  zeroWallMs: WallMs;
  synced: boolean;
}

/** The running run of the program, as far as it is shown. */
interface Run {
  /** Stream time from which it is shown. */
  fromT: StreamMs;
  clock: RunClock;
  pipeline: Pipeline;
  silence: Silence;
  muted: MutedSpans;
  /** Counters at its start. */
  counters: Tally;
}

type Ids = Pick<NumberedEvent, 'alertId' | 'causeId'>;

/**
 * Makes `Gathered` out of a replay: looks on at its ticks, hears of its numbered events, and keeps what a report is made of, within
 * the bounds of room.ts and lists.ts. Times of the running run are its own until it ends, as its clock may become known in it.
 */
export class Gatherer implements Watch {
  readonly #options: GathererOptions;
  readonly #lists = new Lists();
  readonly #readings = new Readings();
  /** By seriesKey. */
  readonly #minutes = new Map<string, Growing>();
  readonly #notJudged = new Map<string, Mark>();
  readonly #room: Room;
  readonly #tally = newTally();
  readonly #steps: ClockSteps = { notes: [], untold: 0 };
  /** Events and their ids meet here, each in their order; null: an event that is not kept. */
  readonly #unnamed: (GatheredEvent | null)[] = [];
  readonly #ids: Ids[] = [];
  /** A run of which nothing is shown yet. */
  #waiting: RunBegin | null = null;
  #run: Run | null = null;
  #config: TruckConfig | null = null;
  #trailer: string | null = null;
  /** Of the run before: its end, and whether the truck stood then. */
  #before: { endMs: WallMs; stood: boolean } | null = null;

  constructor(options: GathererOptions) {
    this.#options = options;
    this.#room = options.room ?? new Room();
  }

  /** The next run, after `end` of the one before. */
  begin(run: RunBegin): void {
    this.#config = run.config;
    this.#waiting = { ...run };
    this.#open(run.t);
  }

  tick(t: StreamMs, pipeline: Pipeline, effects: TickEffects | null): void {
    if (this.#waiting !== null) {
      this.#waiting.pipeline = pipeline;
      this.#open(t);
    }
    const run = this.#run;
    if (run === null) {
      for (const _ of effects?.events ?? []) this.#unnamed.push(null);
      this.#match();
      return;
    }
    run.pipeline = pipeline;
    run.clock.tick(t);
    if (effects !== null) this.#effects(run, effects);
    this.#readings.take(t, pipeline, run.clock.shiftMs);
    this.#gap(run, run.silence.tick(t, pipeline.state.life));
    const { zeroMs } = run.clock;
    this.#room.thinReadings(this.#readings, zeroMs, () =>
      spansAround([...this.#lists.eventTimes(zeroMs), zeroMs + run.clock.timeOf(t)]),
    );
  }

  /** Ids of the events that ticks tell of, before or after this call; in their order, none left out. */
  named(events: readonly Ids[]): void {
    for (const { alertId, causeId } of events) this.#ids.push({ alertId, causeId });
    this.#match();
  }

  reload(t: StreamMs, config: TruckConfig): void {
    this.#config = config;
    if (this.#waiting !== null) this.#waiting.config = config;
    const last = this.#lists.all.runs.at(-1);
    if (this.#run === null || last === undefined || last.config === config.hash) return;
    last.toMs = this.#run.clock.timeOf(t);
    this.#lists.add('runs', { ...last, fromMs: last.toMs, config: config.hash });
  }

  seam(t: StreamMs, zeroWallMs: WallMs): void {
    if (this.#waiting !== null) this.#waiting.zeroWallMs = zeroWallMs;
    this.#run?.clock.seam(t, zeroWallMs);
  }

  clock(zeroWallMs: WallMs, synced: boolean): void {
    if (this.#waiting !== null) Object.assign(this.#waiting, { zeroWallMs, synced });
    if (this.#run === null) return;
    this.#run.clock.set(zeroWallMs);
    for (const run of this.#lists.unsettledRuns()) run.synced = synced;
  }

  /** The run is over: everything up to t was decided. */
  end(t: StreamMs): void {
    this.#waiting = null;
    const run = this.#run;
    if (run === null) return;
    const { life, counters } = run.pipeline.state;
    this.#gap(run, run.silence.end(t));
    for (const span of run.muted.update(run.clock.timeOf(t), [])) this.#lists.add('muted', span);
    this.#trip(run, run.pipeline.tripSoFar(t));
    addCounts(this.#tally, run.counters, counters);
    const last = this.#lists.all.runs.at(-1)!;
    last.toMs = run.clock.timeOf(t);
    this.#lists.settle(run.clock.zeroMs);
    for (const rows of this.#tables()) rows.settle(run.clock.zeroMs);
    this.#before = { endMs: last.toMs, stood: endedStanding(life) };
    this.#run = null;
  }

  /** Nothing was shown of any run. */
  get isEmpty(): boolean {
    return this.#lists.all.runs.length === 0;
  }

  /** After the last run. notes: what else there is to say of the data, whole sentences. Uses up what was gathered. */
  gathered(source: GatheredSource, notes: readonly string[] = []): Gathered {
    const config = this.#config!;
    this.#lists.sort();
    for (const rows of this.#tables()) rows.sort();
    const samples = new Map<string, SampleSeries>();
    for (const [key, { rows }] of this.#readings.series) {
      const [atMs, value] = rows.columns as [number[], number[]];
      const joinMs = this.#room.joinMs(key);
      if (rows.rows > 0) samples.set(key, { atMs, value, ...(joinMs !== undefined && { joinMs }) });
    }
    const minutes = new Map<string, MinuteSeries>();
    for (const [key, { columns }] of this.#minutes) {
      const [atMs, min, max, last] = columns as [number[], number[], number[], number[]];
      minutes.set(key, { atMs, min, max, last });
    }
    return {
      ...{ fleet: config.fleet, truck: config.truck, trailer: this.#trailer, source, config },
      ...this.#lists.all,
      minutes,
      samples,
      notJudged: [...this.#notJudged.values()],
      notes: [...notes, ...this.#steps.notes, ...noteLines(this.#steps, this.#tally, this.#room, this.#lists)],
    };
  }

  /** From t on the run is shown, if it is. */
  #open(t: StreamMs): void {
    const { pipeline, config, zeroWallMs: zeroMs, synced } = this.#waiting!;
    if (!this.#options.isShown(t, zeroMs)) return;
    this.#waiting = null;
    const { life, marks, counters } = pipeline.state;
    const watching = { silence: new Silence(t, life), muted: new MutedSpans(), counters: { ...counters } };
    this.#run = { fromT: t, clock: new RunClock(t, zeroMs, this.#steps), pipeline, ...watching };
    this.#readings.begin(t);
    const before = this.#before;
    // Nobody listened between two runs; a truck that stood has lost nothing by it.
    if (before !== null && !before.stood && zeroMs + t - before.endMs >= LEAST_GAP_MS)
      this.#lists.add('gaps', { fromMs: before.endMs - zeroMs, toMs: t });
    this.#lists.add('runs', { fromMs: t, toMs: t, synced, config: config.hash, version: this.#options.version });
    if (life.state !== (this.#lists.all.life.at(-1)?.state ?? 'awake')) this.#life(t, life.state);
    this.#marks(marksInForce(marks));
    this.#trailer = config.units.find(({ unit }) => unit === 'trailer')?.id ?? this.#trailer;
  }

  #effects(run: Run, { t, events, history, records, open, trip, life }: TickEffects): void {
    const at = run.clock.timeOf(t);
    for (const draft of events) this.#event(at, draft);
    this.#match();
    this.#history(run, history);
    for (const record of records) {
      const [startMs, endMs] = [run.clock.timeOf(record.startAt), run.clock.timeOf(record.endAt)];
      this.#lists.add('records', { startMs, endMs, record });
    }
    if (open !== null) {
      for (const span of run.muted.update(at, open.muted)) this.#lists.add('muted', span);
      this.#marks(open.notJudged);
      this.#trailer = open.trailer ?? this.#trailer;
    }
    this.#trip(run, trip);
    if (life !== null) this.#life(at, life);
  }

  #event(atMs: number, draft: EventDraft): void {
    const event: GatheredEvent = { atMs, alert: '', cause: null, draft };
    this.#unnamed.push(this.#lists.add('events', event) ? event : null);
  }

  #match(): void {
    const count = Math.min(this.#ids.length, this.#unnamed.length);
    for (let i = 0; i < count; i++) {
      const event = this.#unnamed[i]!;
      const { alertId, causeId } = this.#ids[i]!;
      if (event !== null) Object.assign(event, { alert: alertId, cause: causeId });
    }
    this.#ids.splice(0, count);
    this.#unnamed.splice(0, count);
  }

  #history(run: Run, history: readonly HistoryRow[]): void {
    for (const { subject, quantity, t, min, max, last } of history) {
      const key = `${subject} ${quantity}`;
      const rows = this.#minutes.get(key) ?? new Growing(4);
      this.#minutes.set(key, rows);
      rows.add(run.clock.timeOf(t), min, max, last);
    }
    if (history.length > 0) this.#room.thinMinutes(this.#minutes);
  }

  /** One trip is told again as it goes on, and once more when it has ended. */
  #trip(run: Run, record: TripRecord | null): void {
    const last = this.#lists.all.trips.at(-1);
    const isSame = last?.record.provisional === true && last.record.trip === record?.trip;
    if (record === null) return;
    if (record.endAt < run.fromT) {
      // A trip whose end was not seen is told after a start. Its times are known from the run that it was in, or not at all.
      if (isSame) Object.assign(last, { endMs: last.startMs + record.endAt - record.startAt, record });
      return;
    }
    const trip = { startMs: run.clock.timeOf(record.startAt), endMs: run.clock.timeOf(record.endAt), record };
    if (isSame) this.#lists.replaceLast('trips', trip);
    else this.#lists.add('trips', trip);
    this.#marks(record.notJudged);
  }

  #life(atMs: number, state: LifeState): void {
    this.#lists.add('life', { atMs, state });
  }

  #gap(run: Run, gap: { fromMs: StreamMs; toMs: StreamMs } | null): void {
    if (gap !== null)
      this.#lists.add('gaps', { fromMs: run.clock.timeOf(gap.fromMs), toMs: run.clock.timeOf(gap.toMs) });
  }

  #marks(marks: readonly Mark[]): void {
    for (const mark of marks) this.#notJudged.set(`${mark.subject} ${mark.who} ${mark.untilMs}`, mark);
  }

  #tables(): Growing[] {
    return [...this.#minutes.values(), ...[...this.#readings.series.values()].map(({ rows }) => rows)];
  }
}
