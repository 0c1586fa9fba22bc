import type Database from 'better-sqlite3';
import type { AlertRow, CheckRow, EventRow, MetaRow, OpenRow, StateRow, TripRow } from './rows.js';

const EVENT_COLUMNS = `
  SELECT e.seq, e.boot, a.id AS alert_id, e.cause, e.draft, e.config, e.version, r.zero_wall_ms, r.synced
  FROM outbox o JOIN events e ON e.seq = o.seq JOIN alerts a ON a.seq = e.alert JOIN runs r ON r.boot = e.boot`;

/** Every statement of the ordinary work, prepared once per connection. */
export const prepareAll = (db: Database.Database) => ({ ...prepareEvents(db), ...prepareTrips(db) });

/** Events, what follows from them, and history. */
function prepareEvents(db: Database.Database) {
  return {
    meta: db.prepare<[], MetaRow>('SELECT store, truck, boot, last_seq FROM meta'),
    setLastSeq: db.prepare<[number]>('UPDATE meta SET last_seq = ?'),

    alertByOrdinal: db.prepare<[number], AlertRow>(
      'SELECT seq, id, worst, state FROM alerts WHERE ordinal = ? ORDER BY seq DESC LIMIT 1',
    ),
    addAlert: db.prepare<[Record<string, string | number | null>]>(`
      INSERT INTO alerts (seq, id, ordinal, rule, kind, subject, place, state, urgency, worst, last_seq, events)
      VALUES (@seq, @id, @ordinal, @rule, @kind, @subject, @place, 'open', @urgency, @urgency, @seq, 0)`),
    changeAlert: db.prepare<[Record<string, string | number | null>]>(`
      UPDATE alerts SET cause = @cause, state = @state, how = @how, urgency = @urgency, worst = @worst,
        last_seq = @lastSeq, events = events + 1 WHERE seq = @seq`),
    loseAlert: db.prepare<[number]>("UPDATE alerts SET state = 'lost' WHERE seq = ?"),
    inherited: db.prepare<[number], { seq: number; ordinal: number }>(
      "SELECT seq, ordinal FROM alerts WHERE state = 'open' AND last_seq <= ?",
    ),

    addEvent: db.prepare<[Record<string, string | number | null>]>(`
      INSERT INTO events (seq, alert, cause, boot, t, rule, subject, change, urgency, draft, config, version)
      VALUES (@seq, @alert, @cause, @boot, @t, @rule, @subject, @change, @urgency, @draft, @config, @version)`),
    addToOutbox: db.prepare<[number]>("INSERT INTO outbox (kind, seq) VALUES ('event', ?)"),
    outbox: db.prepare<[number, number], EventRow>(
      `${EVENT_COLUMNS} WHERE o.kind = 'event' AND o.seq > ? ORDER BY o.seq LIMIT ?`,
    ),
    confirm: db.prepare<[number]>("DELETE FROM outbox WHERE kind = 'event' AND seq <= ?"),
    outboxSize: db.prepare<[], { size: number; oldest: number | null }>(
      "SELECT count(*) AS size, min(seq) AS oldest FROM outbox WHERE kind = 'event'",
    ),
    gaps: db.prepare<[], { body: string }>("SELECT body FROM outbox WHERE kind = 'gap' ORDER BY seq"),
    setGap: db.prepare<[number, string]>("INSERT INTO outbox (kind, seq, body) VALUES ('gap', ?, ?)"),
    confirmGap: db.prepare<[string]>("DELETE FROM outbox WHERE kind = 'gap' AND body = ?"),

    setState: db.prepare<[number, number, Buffer]>(
      'INSERT OR REPLACE INTO state (one, boot, t, state) VALUES (1, ?, ?, ?)',
    ),
    /** The same state at a later moment. SQLite leaves pages alone whose bytes do not change. */
    touchState: db.prepare<[number, number]>('UPDATE state SET boot = ?, t = ?'),
    state: db.prepare<[], StateRow>(
      'SELECT t, state, zero_wall_ms, synced FROM state JOIN runs ON runs.boot = state.boot',
    ),
    setOpen: db.prepare<[Record<string, string | number>]>(`
      INSERT OR REPLACE INTO open (one, boot, t, as_of, alert_ids, cause_ids, draft)
      VALUES (1, @boot, @t, @asOf, @alertIds, @causeIds, @draft)`),
    open: db.prepare<[], OpenRow>(`
      SELECT as_of, alert_ids, cause_ids, draft, zero_wall_ms, synced
      FROM open JOIN runs ON runs.boot = open.boot`),
    setClock: db.prepare<[number, number, number]>('UPDATE runs SET zero_wall_ms = ?, synced = ? WHERE boot = ?'),

    series: db.prepare<[], { id: number; subject: string; quantity: string }>(
      'SELECT id, subject, quantity FROM series',
    ),
    addSeries: db.prepare<[string, string]>('INSERT INTO series (subject, quantity) VALUES (?, ?)'),
    addHistory: db.prepare<[number, number, number, number, number, number, number]>(`
      INSERT INTO history (boot, t, series, min, max, last, count) VALUES (?, ?, ?, ?, ?, ?, ?)
      ON CONFLICT DO UPDATE SET min = min(min, excluded.min), max = max(max, excluded.max),
        last = excluded.last, count = count + excluded.count`),

    ordinalOf: db
      .prepare<[string], number>(`
      SELECT ordinal FROM alerts a WHERE id = ? AND seq = (SELECT max(seq) FROM alerts b WHERE b.ordinal = a.ordinal)`)
      .pluck(),
  };
}

/** Trips, records, and of both what waits to be told. */
function prepareTrips(db: Database.Database) {
  return {
    dropProvisional: db.prepare<[number]>('DELETE FROM trips WHERE trip = ? AND provisional = 1'),
    addTrip: db.prepare<[Record<string, string | number | null>]>(`
      INSERT OR REPLACE INTO trips (boot, trip, provisional, start_t, end_t, distance_km, alerts, gap_s, config, version,
        not_judged, summary)
      VALUES (@boot, @trip, @provisional, @startAt, @endAt, @distanceKm, @alerts, @gapS, @config, @version, @notJudged,
        @summary)`),
    addTripToOutbox: db.prepare<[string, string]>(`
      INSERT INTO outbox (kind, seq, body)
      SELECT 'trip', coalesce(max(seq), 0) + 1, ? FROM outbox WHERE kind = 'trip' HAVING count(body = ? OR NULL) = 0`),
    trips: db.prepare<[number], TripRow>(`
      SELECT p.boot, p.trip, p.start_t, p.end_t, p.distance_km, p.alerts, p.gap_s, p.not_judged, p.summary, p.config, p.version,
        r.zero_wall_ms, r.synced
      FROM outbox o JOIN trips p ON p.boot = o.body ->> '$.boot' AND p.trip = o.body ->> '$.trip'
        JOIN runs r ON r.boot = p.boot
      WHERE o.kind = 'trip' ORDER BY o.seq LIMIT ?`),
    confirmTrip: db.prepare<[string]>("DELETE FROM outbox WHERE kind = 'trip' AND body = ?"),
    tripsWaiting: db.prepare<[], number>("SELECT count(*) FROM outbox WHERE kind IN ('trip', 'check')").pluck(),
    waiting: db.prepare<[string], number>('SELECT count(*) FROM outbox WHERE kind = ?').pluck(),
    dropOldest: db.prepare<[string, string, number]>(`
      DELETE FROM outbox WHERE kind = ? AND seq IN (SELECT seq FROM outbox WHERE kind = ? ORDER BY seq LIMIT ?)`),

    addRecord: db.prepare<[number, string, string, number, number, string]>(
      'INSERT INTO records (boot, kind, subject, start_t, end_t, body) VALUES (?, ?, ?, ?, ?, ?)',
    ),
    addCheckToOutbox: db.prepare<[string]>(`
      INSERT INTO outbox (kind, seq, body)
      SELECT 'check', coalesce(max(seq), 0) + 1, ? FROM outbox WHERE kind = 'check'`),
    checks: db.prepare<[number], CheckRow>(`
      SELECT c.boot, c.subject, c.start_t, c.end_t, c.body, o.body ->> '$.config' AS config,
        o.body ->> '$.version' AS version, r.zero_wall_ms, r.synced
      FROM outbox o JOIN records c ON c.id = o.body ->> '$.record' JOIN runs r ON r.boot = c.boot
      WHERE o.kind = 'check' ORDER BY o.seq LIMIT ?`),
    confirmCheck: db.prepare<[number, number]>(
      "DELETE FROM outbox WHERE kind = 'check' AND body ->> '$.boot' = ? AND body ->> '$.trip' = ?",
    ),
  };
}

export type Statements = ReturnType<typeof prepareAll>;
