import { URGENCIES } from '../../config/resolved.js';
import type { EventDraft, OpenAlert, OpenDraft } from '../../daemon/alerts/event.js';
import type { HistoryRow, TripRecord } from '../../daemon/effects.js';
import type { StreamMs } from '../../daemon/time.js';
import type { TruckRecord } from '../../daemon/truck/records.js';
import type { DecidedBy, NumberedEvent, RunInfo } from './contract.js';
import { StoreError } from './errors.js';
import { recordGap } from './gaps.js';
import type { Written } from './last-words.js';
import type { AlertRow } from './rows.js';
import { packState } from './state-text.js';
import type { Statements } from './statements.js';

/** Subject and quantity pairs with a history; rows of further ones are dropped and counted. A long combination has some 300. */
export const MAX_SERIES = 4_096;

/** Ended trips that wait to be told, half a year of them, and as many start checks; the oldest go first. */
export const MAX_TRIPS = 1_000;

export interface Identity {
  store: string;
  truck: string;
  boot: number;
  /** Number of the last event before this start. */
  floorSeq: number;
}

/** What a draft's words are when only the list of open alerts is left of an alert. */
export type LastDrafts = ReadonlyMap<number, EventDraft>;

function worse(a: string, b: string): string {
  const order: readonly string[] = URGENCIES;
  return order.indexOf(a) >= order.indexOf(b) ? a : b;
}

/** Turns one commit into rows. Every method runs inside the caller's transaction; what is remembered can be forgotten. */
export class Writer {
  readonly #sql: Statements;
  readonly #identity: Identity;
  readonly #series = new Map<string, number>();
  /** As it stands in the file; null: not known. */
  #state: string | null = null;
  /** History rows left out: a number that is none, or one series too many. */
  dropped = 0;

  constructor(sql: Statements, identity: Identity) {
    this.#sql = sql;
    this.#identity = identity;
    this.forget();
  }

  /** After a rollback: what was remembered may never have been. */
  forget(): void {
    this.#state = null;
    this.#series.clear();
    for (const row of this.#sql.series.all()) this.#series.set(`${row.subject}\n${row.quantity}`, row.id);
  }

  apply(commit: Written, run: RunInfo, lastDrafts: LastDrafts): NumberedEvent[] {
    const seq = this.#checkedLastSeq();
    const drafts = commit.open === null ? commit.events : this.#withUnknown(commit.open, commit, lastDrafts);
    const numbered = this.#events(drafts, seq, { run, by: commit.by });
    if (commit.open !== null) this.#open(commit.t, commit.open, seq + drafts.length);
    if (commit.state !== null) this.#setState(commit.t, commit.state);
    for (const row of commit.history) this.#history(row);
    for (const record of commit.records) this.#record(record, commit.by);
    if (commit.trip !== null) this.#trip(commit.trip, commit.by);
    return numbered;
  }

  /** Two programs that write into one file would give one number twice: the one that opened it last goes on. */
  #checkedLastSeq(): number {
    const meta = this.#sql.meta.get();
    if (meta === undefined) throw new StoreError('store-corrupt', 'the row of table meta is missing');
    if (meta.boot !== this.#identity.boot || meta.store !== this.#identity.store) {
      throw new StoreError('store-taken', 'another program has opened this store for writing; stop one of the two');
    }
    return meta.last_seq;
  }

  /** An open alert that this database has never seen (it is new, or older than the pipeline's state) is raised anew. */
  #withUnknown(open: OpenDraft, commit: Written, lastDrafts: LastDrafts): EventDraft[] {
    const coming = new Set(commit.events.map((event) => event.alert));
    const unknown = open.alerts.filter(
      (a) => !coming.has(a.alert) && this.#sql.alertByOrdinal.get(a.alert) === undefined,
    );
    if (unknown.length === 0) return commit.events;
    const raised = unknown.map((alert) => raisedAnew(alert, commit.t, open, lastDrafts.get(alert.alert)));
    return [...raised, ...commit.events];
  }

  /** All ids first: a cause may come later in the tick than what it explains. */
  #events(drafts: EventDraft[], lastSeq: number, known: Pick<NumberedEvent, 'run' | 'by'>): NumberedEvent[] {
    if (drafts.length === 0) return [];
    drafts.forEach((draft, index) => {
      const alert = this.#sql.alertByOrdinal.get(draft.alert);
      if (alert !== undefined && draft.change !== 'raised') return;
      if (alert?.state === 'open') this.#sql.loseAlert.run(alert.seq);
      this.#addAlert(lastSeq + 1 + index, draft);
    });
    const numbered = drafts.map((draft, index) => this.#event(lastSeq + 1 + index, draft, known));
    this.#sql.setLastSeq.run(lastSeq + drafts.length);
    return numbered;
  }

  #addAlert(seq: number, draft: EventDraft): void {
    const { rule, kind, subject, place, urgency, alert: ordinal } = draft;
    const id = `${this.#identity.truck}.${this.#identity.store}.${seq}`;
    this.#sql.addAlert.run({ seq, id, ordinal, rule, kind, subject, place, urgency });
  }

  #event(seq: number, draft: EventDraft, known: Pick<NumberedEvent, 'run' | 'by'>): NumberedEvent {
    const { store, boot } = this.#identity;
    const alert = this.#sql.alertByOrdinal.get(draft.alert) as AlertRow;
    const cause = this.#idOf(draft.cause);
    const { t, rule, subject, change, urgency } = draft;
    const text = JSON.stringify(draft);
    const about = { seq, alert: alert.seq, cause, boot, t, rule, subject, change, urgency, draft: text };
    this.#sql.addEvent.run({ ...about, ...columnsOf(known.by) });
    this.#sql.addToOutbox.run(seq);
    const ended = change === 'cleared' || change === 'closed';
    this.#sql.changeAlert.run({
      seq: alert.seq,
      cause,
      state: ended ? 'ended' : 'open',
      how: ended ? (draft.reason ?? change) : null,
      urgency,
      worst: worse(alert.worst, urgency),
      lastSeq: seq,
    });
    return { seq, store, boot, stored: true, alertId: alert.id, causeId: cause, draft, ...known };
  }

  #idOf(ordinal: number | null): string | null {
    return ordinal === null ? null : (this.#sql.alertByOrdinal.get(ordinal)?.id ?? null);
  }

  #open(t: StreamMs, open: OpenDraft, asOf: number): void {
    const alertIds = JSON.stringify(open.alerts.map((alert) => this.#idOf(alert.alert)));
    const causeIds = JSON.stringify(open.alerts.map((alert) => this.#idOf(alert.cause)));
    this.#sql.setOpen.run({ boot: this.#identity.boot, t, asOf, alertIds, causeIds, draft: JSON.stringify(open) });
    const listed = new Set(open.alerts.map((alert) => alert.alert));
    for (const { seq, ordinal } of this.#sql.inherited.all(this.#identity.floorSeq)) {
      if (!listed.has(ordinal)) this.#sql.loseAlert.run(seq);
    }
  }

  /** Rows of one minute that come in parts (a flush amid the minute) become one. */
  #history(row: HistoryRow): void {
    const { t, min, max, last, count } = row;
    const series = this.#seriesId(row);
    if (series === null || !Number.isFinite(min + max + last)) {
      this.dropped++;
      return;
    }
    this.#sql.addHistory.run(this.#identity.boot, t, series, min, max, last, count);
  }

  #seriesId(row: HistoryRow): number | null {
    const key = `${row.subject}\n${row.quantity}`;
    const known = this.#series.get(key);
    if (known !== undefined) return known;
    if (this.#series.size >= MAX_SERIES) return null;
    const id = Number(this.#sql.addSeries.run(row.subject, row.quantity).lastInsertRowid);
    this.#series.set(key, id);
    return id;
  }

  /** The same state again (asleep, say) costs one page and not all of its bytes. */
  #setState(t: StreamMs, state: string): void {
    const { boot } = this.#identity;
    if (state === this.#state) {
      this.#sql.touchState.run(boot, t);
      return;
    }
    this.#sql.setState.run(boot, t, packState(state));
    this.#state = state;
  }

  /** A provisional summary gives way to any later one of the same trip, also when that comes after a restart. Only an end is told. */
  #trip(trip: TripRecord, by: DecidedBy | null): void {
    const { boot } = this.#identity;
    const { provisional, startAt, endAt, distanceKm, alerts, gapS } = trip;
    const notJudged = JSON.stringify(trip.notJudged);
    // Of a trip that an earlier version has left untold nothing more is known.
    const summary = trip.summary ? JSON.stringify(trip.summary) : null;
    const about = { trip: trip.trip, startAt, endAt, distanceKm, alerts, gapS, notJudged, summary, ...columnsOf(by) };
    this.#sql.dropProvisional.run(trip.trip);
    this.#sql.addTrip.run({ ...about, provisional: provisional ? 1 : 0, boot });
    if (provisional) return;
    const body = tripBody({ boot, trip: trip.trip });
    this.#sql.addTripToOutbox.run(body, body);
    this.#limitWaiting('trip', 'trips');
  }

  /** What the office is to be told of as well goes into the outbox. */
  #record({ kind, subject, startAt, endAt, values }: TruckRecord, by: DecidedBy | null): void {
    const { boot } = this.#identity;
    const { lastInsertRowid } = this.#sql.addRecord.run(boot, kind, subject, startAt, endAt, JSON.stringify(values));
    if (kind !== 'start-check') return;
    const body = { ...columnsOf(by), boot, trip: values.trip, record: Number(lastInsertRowid) };
    this.#sql.addCheckToOutbox.run(JSON.stringify(body));
    this.#limitWaiting('check', 'start checks');
  }

  #limitWaiting(kind: 'trip' | 'check', what: string): void {
    const excess = (this.#sql.waiting.get(kind) ?? 0) - MAX_TRIPS;
    if (excess <= 0) return;
    const count = this.#sql.dropOldest.run(kind, kind, excess).changes;
    recordGap(this.#sql, { fromSeq: 0, toSeq: 0, what, count, why: `more than ${MAX_TRIPS} waited` });
  }
}

/** Of a waiting trip: where it stands in the table. */
export function tripBody({ boot, trip }: { boot: number; trip: number }): string {
  return JSON.stringify({ boot, trip });
}

function columnsOf(by: DecidedBy | null): { config: string | null; version: string | null } {
  return by === null ? { config: null, version: null } : { config: by.config, version: by.version };
}

/** Advice, basis and evidence come from the last event that is remembered; without one they are empty. */
function raisedAnew(alert: OpenAlert, t: StreamMs, open: OpenDraft, last: EventDraft | undefined): EventDraft {
  const { cause, rule, kind, subject, place, urgency, measured } = alert;
  return {
    t,
    alert: alert.alert,
    cause,
    rule,
    kind,
    subject,
    place,
    change: 'raised',
    reason: null,
    urgency,
    was: null,
    sinceAgoMs: Math.max(0, alert.sinceAgoMs + t - open.t),
    trailer: open.trailer,
    measured,
    evidence: null,
    forecast: null,
    advice: last?.advice ?? '',
    basis: last?.basis ?? '',
    vehicle: { speed: null, lat: null, lon: null, ageS: null },
  };
}
