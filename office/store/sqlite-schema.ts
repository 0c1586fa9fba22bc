/**
 * The schema of the office's SQLite file. docs/office-database.md documents it as a public interface: additions only. A change
 * here is a new step at the end of MIGRATIONS, never an edit of a released one.
 */

/** In the file's header (offset 68), so that a truck's or another program's database is told from ours: "AXLO". */
export const APPLICATION_ID = 0x41584c4f;
/** Of a truck's own store (adapters/store/schema.ts): the mistake that is made most easily. */
export const TRUCK_APPLICATION_ID = 0x41584c50;

/** One step from version `index` to `index + 1`; runs in a transaction of its own together with the new version number. */
export interface Migration {
  what: string;
  sql: string;
}

/** Every table that prune empties has an index on the time by which it does. */
const FIRST = `
CREATE TABLE trucks (
  fleet TEXT NOT NULL,
  truck TEXT NOT NULL,
  revision INTEGER NOT NULL,
  heard_ms INTEGER,
  state TEXT NOT NULL,
  PRIMARY KEY (fleet, truck)
);

CREATE TABLE events (
  fleet TEXT NOT NULL,
  truck TEXT NOT NULL,
  store TEXT NOT NULL,
  seq INTEGER NOT NULL,
  received_ms INTEGER NOT NULL,
  at TEXT NOT NULL,
  alert TEXT NOT NULL,
  rule TEXT NOT NULL,
  subject TEXT NOT NULL,
  change TEXT NOT NULL,
  urgency TEXT NOT NULL,
  body TEXT NOT NULL,
  PRIMARY KEY (fleet, truck, store, seq)
);
CREATE INDEX events_by_time ON events (received_ms);
CREATE INDEX events_by_fleet ON events (fleet, received_ms);
CREATE INDEX events_by_truck ON events (fleet, truck, received_ms);
CREATE INDEX events_by_alert ON events (alert, received_ms);

CREATE TABLE readings (
  fleet TEXT NOT NULL,
  truck TEXT NOT NULL,
  at TEXT NOT NULL,
  received_ms INTEGER NOT NULL,
  body TEXT NOT NULL,
  PRIMARY KEY (fleet, truck, at)
);
CREATE INDEX readings_by_time ON readings (received_ms);
CREATE INDEX readings_by_truck ON readings (fleet, truck, received_ms);

CREATE TABLE trips (
  fleet TEXT NOT NULL,
  truck TEXT NOT NULL,
  store TEXT NOT NULL,
  boot INTEGER NOT NULL,
  trip INTEGER NOT NULL,
  kind TEXT NOT NULL,
  received_ms INTEGER NOT NULL,
  start TEXT NOT NULL,
  body TEXT NOT NULL,
  PRIMARY KEY (fleet, truck, store, boot, trip, kind)
);
CREATE INDEX trips_by_time ON trips (received_ms);
CREATE INDEX trips_by_truck ON trips (fleet, truck, kind, received_ms);

CREATE TABLE gaps (
  fleet TEXT NOT NULL,
  truck TEXT NOT NULL,
  store TEXT NOT NULL,
  from_seq INTEGER NOT NULL,
  to_seq INTEGER NOT NULL,
  what TEXT NOT NULL,
  content TEXT NOT NULL,
  received_ms INTEGER NOT NULL,
  body TEXT NOT NULL,
  PRIMARY KEY (fleet, truck, store, from_seq, to_seq, what, content)
);
CREATE INDEX gaps_by_time ON gaps (received_ms);

CREATE TABLE notices (
  id INTEGER PRIMARY KEY,
  fleet TEXT NOT NULL,
  truck TEXT NOT NULL,
  channel TEXT NOT NULL,
  why TEXT NOT NULL,
  alert TEXT NOT NULL,
  due_ms INTEGER NOT NULL,
  attempts INTEGER NOT NULL DEFAULT 0,
  state TEXT NOT NULL DEFAULT 'waiting',
  taken_ms INTEGER,
  done_ms INTEGER,
  error TEXT,
  body TEXT NOT NULL
);
-- With the channel in it those of a channel that hangs are passed over without reading their rows.
CREATE INDEX notices_due ON notices (due_ms, id, channel) WHERE state = 'waiting';
CREATE INDEX notices_of_alert ON notices (fleet, truck, alert, channel, id) WHERE state = 'waiting';
CREATE INDEX notices_done ON notices (done_ms) WHERE state <> 'waiting';

CREATE TABLE accounts (
  name TEXT PRIMARY KEY,
  hash TEXT NOT NULL
);

CREATE TABLE sessions (
  id_hash TEXT PRIMARY KEY,
  name TEXT NOT NULL,
  token TEXT NOT NULL,
  until_ms INTEGER NOT NULL
);
CREATE INDEX sessions_by_name ON sessions (name);
CREATE INDEX sessions_by_end ON sessions (until_ms);

CREATE VIEW open_alerts AS
SELECT t.fleet, t.truck, t.state ->> '$.trailer' AS trailer, a.value ->> '$.id' AS alert, a.value ->> '$.cause' AS cause,
  a.value ->> '$.kind' AS kind, a.value ->> '$.rule' AS rule, a.value ->> '$.subject' AS subject, a.value ->> '$.place' AS place,
  a.value ->> '$.urgency' AS urgency, a.value ->> '$.since' AS since, a.value ->> '$.taken.who' AS taken_by,
  a.value ->> '$.snoozed.until' AS snoozed_until
FROM trucks t, json_each(t.state, '$.alerts') a;
`;

export const MIGRATIONS: readonly Migration[] = [{ what: 'the first', sql: FIRST }];

export const SCHEMA_VERSION = MIGRATIONS.length;
