import { URGENCIES } from '../../config/resolved.js';
import type { EventDraft, OpenAlert, OpenDraft } from '../../daemon/alerts/event.js';
import type { HistoryRow, TripRecord } from '../../daemon/effects.js';
import type { StreamMs } from '../../daemon/time.js';
import type { Commit, NumberedEvent, RunInfo } from './contract.js';
import { StoreError } from './errors.js';
import type { AlertRow } from './rows.js';
import type { Statements } from './statements.js';

/** Subject and quantity pairs with a history; rows of further ones are dropped and counted. A long combination has some 300. */
export const MAX_SERIES = 4_096;

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

/** Turns one commit into rows. Every method runs inside the caller's transaction; nothing is remembered but series ids. */
export class Writer {
  readonly #sql: Statements;
  readonly #identity: Identity;
  readonly #series = new Map<string, number>();
  /** History rows left out: a number that is none, or one series too many. */
  dropped = 0;

  constructor(sql: Statements, identity: Identity) {
    this.#sql = sql;
    this.#identity = identity;
    this.forget();
  }

  /** After a rollback: what was remembered may never have been. */
  forget(): void {
    this.#series.clear();
    for (const row of this.#sql.series.all()) this.#series.set(`${row.subject}\n${row.quantity}`, row.id);
  }

  apply(commit: Commit, run: RunInfo, lastDrafts: LastDrafts): NumberedEvent[] {
    const { boot } = this.#identity;
    const seq = this.#checkedLastSeq();
    const drafts = commit.open === null ? commit.events : this.#withUnknown(commit.open, commit, lastDrafts);
    const numbered = this.#events(drafts, seq, run);
    if (commit.open !== null) this.#open(commit.t, commit.open, seq + drafts.length);
    if (commit.state !== null) this.#sql.setState.run(boot, commit.t, commit.state);
    for (const row of commit.history) this.#history(row);
    if (commit.trip !== null) this.#trip(commit.trip);
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
  #withUnknown(open: OpenDraft, commit: Commit, lastDrafts: LastDrafts): EventDraft[] {
    const coming = new Set(commit.events.map((event) => event.alert));
    const unknown = open.alerts.filter(
      (a) => !coming.has(a.alert) && this.#sql.alertByOrdinal.get(a.alert) === undefined,
    );
    if (unknown.length === 0) return commit.events;
    const raised = unknown.map((alert) => raisedAnew(alert, commit.t, open, lastDrafts.get(alert.alert)));
    return [...raised, ...commit.events];
  }

  /** All ids first: a cause may come later in the tick than what it explains. */
  #events(drafts: EventDraft[], lastSeq: number, run: RunInfo): NumberedEvent[] {
    if (drafts.length === 0) return [];
    drafts.forEach((draft, index) => {
      const known = this.#sql.alertByOrdinal.get(draft.alert);
      if (known !== undefined && draft.change !== 'raised') return;
      if (known?.state === 'open') this.#sql.loseAlert.run(known.seq);
      this.#addAlert(lastSeq + 1 + index, draft);
    });
    const numbered = drafts.map((draft, index) => this.#event(lastSeq + 1 + index, draft, run));
    this.#sql.setLastSeq.run(lastSeq + drafts.length);
    return numbered;
  }

  #addAlert(seq: number, draft: EventDraft): void {
    const { rule, kind, subject, place, urgency, alert: ordinal } = draft;
    const id = `${this.#identity.truck}.${this.#identity.store}.${seq}`;
    this.#sql.addAlert.run({ seq, id, ordinal, rule, kind, subject, place, urgency });
  }

  #event(seq: number, draft: EventDraft, run: RunInfo): NumberedEvent {
    const { store, boot } = this.#identity;
    const alert = this.#sql.alertByOrdinal.get(draft.alert) as AlertRow;
    const cause = this.#idOf(draft.cause);
    const { t, rule, subject, change, urgency } = draft;
    const text = JSON.stringify(draft);
    this.#sql.addEvent.run({ seq, alert: alert.seq, cause, boot, t, rule, subject, change, urgency, draft: text });
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
    return { seq, store, boot, stored: true, alertId: alert.id, causeId: cause, draft, run };
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

  /** A provisional summary gives way to any later one of the same trip, also when that comes after a restart. */
  #trip(trip: TripRecord): void {
    this.#sql.dropProvisional.run(trip.trip);
    this.#sql.addTrip.run({ ...trip, provisional: trip.provisional ? 1 : 0, boot: this.#identity.boot });
  }
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
