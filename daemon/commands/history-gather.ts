import { parsed } from '../../adapters/store/parsed.js';
import { alertsOf, draftsOf, openOf } from '../../adapters/store/read-alerts.js';
import { minutesOf, recordsOf, tripsOf } from '../../adapters/store/read-history.js';
import type { ReadTripRow } from '../../adapters/store/read-rows.js';
import { EVERYTHING, type Span, type StoreReader, type Wanted } from '../../adapters/store/reader.js';
import type { Mark, TruckConfig } from '../../config/resolved.js';
import { Growing } from '../../report/gather/growing.js';
import { Lists } from '../../report/gather/lists.js';
import { Room } from '../../report/gather/room.js';
import type { Gathered, GatheredRun, MinuteSeries } from '../../report/gathered.js';
import { SERIES_QUANTITIES } from '../../report/gathered.js';
import type { TripRecord } from '../effects.js';
import type { WallMs } from '../time.js';
import type { TruckRecord } from '../truck/records.js';
import { runsOf, type Sign } from './history-runs.js';
import { gapsIn, MINUTE_MS, standingOf } from './history-stretches.js';

/** What a report is to be made of. */
export interface Ask {
  /** As people know the database. */
  name: string;
  config: TruckConfig | null;
  /** Which alerts; time is that of `span`. */
  wanted: Wanted;
  span: Span;
  /** What else is to be said of it, whole sentences. */
  notes: readonly string[];
}

/** A database does not know it. */
const UNKNOWN_FLEET = 'not known';

/**
 * Makes `Gathered` out of a database: minutes and no readings one by one, within the bounds that hold for a replay. What the
 * truck did between its trips, and when nothing was heard, is told as far as trips and minutes tell it. What cannot be read is
 * in the reader's problems.
 */
export function gatherStore(reader: StoreReader, ask: Ask): Gathered {
  return new StoreGatherer(reader, ask).gathered();
}

class StoreGatherer {
  readonly #reader: StoreReader;
  readonly #ask: Ask;
  readonly #lists = new Lists();
  readonly #room = new Room();
  readonly #minutes = new Map<string, Growing>();
  /** Starts of minutes in which anything was heard. */
  readonly #heard = new Set<WallMs>();
  readonly #notJudged = new Map<string, Mark>();
  readonly #signs: Sign[] = [];
  #trailer: string | null = null;

  constructor(reader: StoreReader, ask: Ask) {
    this.#reader = reader;
    // Whatever else is asked for concerns alerts alone.
    const { fromMs, toMs } = ask.span;
    this.#ask = { ...ask, span: { fromMs, toMs } };
  }

  gathered(): Gathered {
    const { config, name, notes } = this.#ask;
    const { truck, store } = this.#reader.about;
    this.#readings();
    this.#events();
    this.#records();
    const trips = this.#trips();
    const runs = runsOf(this.#reader, this.#ask.span, this.#signs);
    this.#open(runs);
    for (const run of runs) this.#lists.add('runs', run);
    for (const change of standingOf(trips, this.#heard, this.#ask.span)) this.#lists.add('life', change);
    for (const gap of gapsIn(trips, this.#heard, this.#ask.span, this.#reader)) this.#lists.add('gaps', gap);
    this.#lists.sort();
    return {
      ...{ fleet: config?.fleet ?? UNKNOWN_FLEET, truck, trailer: this.#trailer },
      ...{ source: { kind: 'database', path: name, store }, config },
      ...this.#lists.all,
      ...{ minutes: this.#series(), samples: new Map(), notJudged: [...this.#notJudged.values()] },
      notes: [...notes, ...this.#bounds()],
    };
  }

  /** What was left out to keep the report within bounds, whole sentences. */
  #bounds(): string[] {
    const { minutes } = this.#room;
    const { applicationsDropped: soft, dropped } = this.#lists;
    return [
      ...(minutes > 0 ? [`There were too many minutes to keep them all: ${2 ** minutes} of them make one.`] : []),
      ...(soft > 0 ? [`Of the brake applications ${soft} are left out, the softest.`] : []),
      ...(dropped > 0
        ? [`Of events and records ${dropped} are left out, the latest; a shorter time has them all.`]
        : []),
    ];
  }

  #readings(): void {
    const quantities: readonly string[] = SERIES_QUANTITIES;
    const series = new Map<number, Growing>();
    for (const { run, minutes } of minutesOf(this.#reader, { ...EVERYTHING, ...this.#ask.span, quantities })) {
      for (const { t, series: id, min, max, last } of minutes) {
        let rows = series.get(id);
        if (rows === undefined) {
          rows = new Growing(4);
          series.set(id, rows);
          const { subject, quantity } = this.#reader.series.find((one) => one.id === id)!;
          this.#minutes.set(`${subject} ${quantity}`, rows);
        }
        rows.add(run.zero_wall_ms + t, min, max, last);
        this.#heard.add(run.zero_wall_ms + t);
      }
      if (minutes.length === 0) continue;
      this.#sign(run.boot, minutes[0]!.t, minutes.at(-1)!.t + MINUTE_MS);
      this.#room.thinMinutes(this.#minutes);
    }
    for (const rows of this.#minutes.values()) rows.sort();
  }

  #series(): Map<string, MinuteSeries> {
    return new Map(
      [...this.#minutes].map(([key, { columns }]) => {
        const [atMs, min, max, last] = columns as [number[], number[], number[], number[]];
        return [key, { atMs, min, max, last }];
      }),
    );
  }

  /** All events of an alert that is asked for, whatever their urgency. */
  #events(): void {
    const { wanted, span } = this.#ask;
    const ids = new Set([...alertsOf(this.#reader, { ...wanted, ...span })].flat().map(({ id }) => id));
    for (const rows of draftsOf(this.#reader, { ...EVERYTHING, ...span })) {
      for (const { boot, t, alert, cause, config, version, draft } of rows) {
        this.#sign(boot, t, t, config, version);
        this.#trailer = draft.trailer ?? this.#trailer;
        if (ids.has(alert)) this.#lists.add('events', { atMs: this.#reader.wallMs(boot, t)!, alert, cause, draft });
      }
    }
  }

  #records(): void {
    for (const rows of recordsOf(this.#reader, 'truck_records', this.#ask.span)) {
      for (const { kind, subject, body, boot, start_t: startAt, end_t: endAt } of rows) {
        const values = this.#parsed(String(body), `a record of kind ${kind}`);
        if (values === null) continue;
        const record = { kind, subject, startAt, endAt, values } as unknown as TruckRecord;
        const [startMs, endMs] = [startAt, endAt].map((t) => this.#reader.wallMs(boot, t)!) as [number, number];
        this.#lists.add('records', { startMs, endMs, record });
        this.#sign(boot, startAt, endAt);
      }
    }
  }

  #trips(): ReadTripRow[] {
    const trips = [...tripsOf(this.#reader, this.#ask.span)].flat();
    for (const row of trips) {
      const { trip, provisional, start_t: startAt, end_t: endAt, distance_km: distanceKm, alerts, gap_s: gapS } = row;
      const notJudged = this.#parsed<Mark[]>(row.not_judged ?? '[]', `trip ${trip}`) ?? [];
      const summary = this.#parsed<TripRecord['summary']>(row.summary ?? 'null', `trip ${trip}`);
      const record = {
        trip,
        provisional: provisional === 1,
        startAt,
        endAt,
        distanceKm,
        alerts,
        gapS,
        notJudged,
        summary,
      };
      this.#lists.add('trips', { startMs: Date.parse(row.at), endMs: Date.parse(row.ended), record });
      this.#marks(notJudged);
      this.#sign(row.boot, startAt, endAt, row.config, row.version);
    }
    return trips;
  }

  /** What the last list of open alerts says besides: it held until the end of its run. */
  #open(runs: readonly GatheredRun[]): void {
    const open = openOf(this.#reader);
    const fromMs = open === null ? null : this.#reader.wallMs(open.boot, open.draft.t);
    const toMs = runs.at(-1)?.toMs;
    if (open === null || fromMs === null || toMs === undefined || fromMs > toMs) return;
    this.#trailer = open.draft.trailer ?? this.#trailer;
    for (const finding of open.draft.muted) this.#lists.add('muted', { fromMs, toMs, ...finding });
    this.#marks(open.draft.notJudged ?? []);
  }

  #marks(marks: readonly Mark[]): void {
    for (const mark of marks) this.#notJudged.set(`${mark.subject} ${mark.who} ${mark.untilMs}`, mark);
  }

  #sign(boot: number, fromT: number, toT: number, config: string | null = null, version: string | null = null): void {
    const last = this.#signs.at(-1);
    // Minutes are many, and say nothing but that the run went on.
    if (last?.boot === boot && config === null && last.config === null && fromT >= last.fromT)
      last.toT = Math.max(last.toT, toT);
    else this.#signs.push({ boot, fromT, toT, config, version });
  }

  #parsed<T>(text: string, what: string): T | null {
    const value = this.#reader.attempt(() => ({ of: parsed<T>(text, this.#reader.about.path) }));
    if (value === null) this.#reader.problem(`${what} is no JSON and is left out`);
    return value === null ? null : value.of;
  }
}
