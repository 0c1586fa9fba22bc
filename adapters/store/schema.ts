/**
 * The database's schema. docs/database.md documents it as a public interface: additions only, nothing is renamed or changes
 * its meaning. A change here is a new step at the end of MIGRATIONS, never an edit of a released one.
 */

/** In the file's header (offset 68), so that another program's database is told from ours: "AXLP". */
export const APPLICATION_ID = 0x41584c50;

/** One step from version `index` to `index + 1`; runs in a transaction of its own together with the new version number. */
export interface Migration {
  what: string;
  sql: string;
}

/**
 * Columns `boot` are no foreign keys: an index on each would be needed to delete an empty run without a scan.
 * history is clustered by time, not by series: rows are appended at one end and deleted at the other, which spares flash
 * pages, and a second index would double it.
 */
const FIRST = `
CREATE TABLE meta (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  store TEXT NOT NULL,
  truck TEXT NOT NULL,
  created_ms INTEGER NOT NULL,
  boot INTEGER NOT NULL,
  last_seq INTEGER NOT NULL
);

CREATE TABLE runs (
  boot INTEGER PRIMARY KEY,
  zero_wall_ms INTEGER NOT NULL,
  synced INTEGER NOT NULL,
  started_ms INTEGER NOT NULL
);

CREATE TABLE alerts (
  seq INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  ordinal INTEGER NOT NULL,
  cause TEXT,
  rule TEXT NOT NULL,
  kind TEXT NOT NULL,
  subject TEXT NOT NULL,
  place TEXT NOT NULL,
  state TEXT NOT NULL,
  how TEXT,
  urgency TEXT NOT NULL,
  worst TEXT NOT NULL,
  last_seq INTEGER NOT NULL,
  events INTEGER NOT NULL
);
CREATE INDEX alerts_by_ordinal ON alerts (ordinal, seq);
CREATE INDEX alerts_open ON alerts (last_seq) WHERE state = 'open';
CREATE INDEX alerts_to_thin ON alerts (worst, last_seq) WHERE state <> 'open' AND events > 2;

CREATE TABLE events (
  seq INTEGER PRIMARY KEY,
  alert INTEGER NOT NULL REFERENCES alerts (seq),
  cause TEXT,
  boot INTEGER NOT NULL,
  t INTEGER NOT NULL,
  rule TEXT NOT NULL,
  subject TEXT NOT NULL,
  change TEXT NOT NULL,
  urgency TEXT NOT NULL,
  draft TEXT NOT NULL
);
CREATE INDEX events_by_alert ON events (alert, seq);

CREATE TABLE outbox (
  kind TEXT NOT NULL,
  seq INTEGER NOT NULL,
  body TEXT,
  PRIMARY KEY (kind, seq)
) WITHOUT ROWID;

CREATE TABLE state (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  boot INTEGER NOT NULL,
  t INTEGER NOT NULL,
  state TEXT NOT NULL
);

CREATE TABLE open (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  boot INTEGER NOT NULL,
  t INTEGER NOT NULL,
  as_of INTEGER NOT NULL,
  alert_ids TEXT NOT NULL,
  cause_ids TEXT NOT NULL,
  draft TEXT NOT NULL
);

CREATE TABLE series (
  id INTEGER PRIMARY KEY,
  subject TEXT NOT NULL,
  quantity TEXT NOT NULL,
  UNIQUE (subject, quantity)
);

CREATE TABLE history (
  boot INTEGER NOT NULL,
  t INTEGER NOT NULL,
  series INTEGER NOT NULL REFERENCES series (id),
  min REAL NOT NULL,
  max REAL NOT NULL,
  last REAL NOT NULL,
  count INTEGER NOT NULL,
  PRIMARY KEY (boot, t, series)
) WITHOUT ROWID;

CREATE TABLE trips (
  boot INTEGER NOT NULL,
  trip INTEGER NOT NULL,
  provisional INTEGER NOT NULL,
  start_t INTEGER NOT NULL,
  end_t INTEGER NOT NULL,
  distance_km REAL,
  alerts INTEGER NOT NULL,
  gap_s INTEGER NOT NULL,
  PRIMARY KEY (boot, trip)
) WITHOUT ROWID;

CREATE VIEW readings AS
  SELECT strftime('%Y-%m-%dT%H:%M:%fZ', (runs.zero_wall_ms + history.t) / 1000.0, 'unixepoch') AS at,
         runs.synced AS synced, series.subject AS subject, series.quantity AS quantity,
         history.min AS min, history.max AS max, history.last AS last, history.count AS count,
         history.boot AS boot, history.t AS t
  FROM history JOIN runs ON runs.boot = history.boot JOIN series ON series.id = history.series;

CREATE VIEW alert_events AS
  SELECT events.seq AS seq,
         strftime('%Y-%m-%dT%H:%M:%fZ', (runs.zero_wall_ms + events.t) / 1000.0, 'unixepoch') AS at,
         runs.synced AS synced, alerts.id AS alert, events.cause AS cause, events.rule AS rule,
         events.subject AS subject, alerts.place AS place, events.change AS change, events.urgency AS urgency,
         events.draft ->> '$.reason' AS reason, events.draft -> '$.measured' AS measured,
         events.draft ->> '$.advice' AS advice, events.boot AS boot, events.t AS t
  FROM events JOIN alerts ON alerts.seq = events.alert JOIN runs ON runs.boot = events.boot;
`;

/**
 * What decided an event or a trip. state.state may now hold bytes (deflated JSON) as well as text: a column of type TEXT keeps
 * bytes as they are (https://www.sqlite.org/datatype3.html#type_affinity), so that rows need not be changed.
 */
const SECOND = `
ALTER TABLE events ADD COLUMN config TEXT;
ALTER TABLE events ADD COLUMN version TEXT;
ALTER TABLE trips ADD COLUMN config TEXT;
ALTER TABLE trips ADD COLUMN version TEXT;
ALTER TABLE trips ADD COLUMN not_judged TEXT;

DROP VIEW alert_events;
CREATE VIEW alert_events AS
  SELECT events.seq AS seq,
         strftime('%Y-%m-%dT%H:%M:%fZ', (runs.zero_wall_ms + events.t) / 1000.0, 'unixepoch') AS at,
         runs.synced AS synced, alerts.id AS alert, events.cause AS cause, events.rule AS rule,
         events.subject AS subject, alerts.place AS place, events.change AS change, events.urgency AS urgency,
         events.draft ->> '$.reason' AS reason, events.draft -> '$.measured' AS measured,
         events.draft ->> '$.advice' AS advice, events.boot AS boot, events.t AS t,
         events.config AS config, events.version AS version
  FROM events JOIN alerts ON alerts.seq = events.alert JOIN runs ON runs.boot = events.boot;
`;

/**
 * Records of things that happened on the truck, and what a trip's summary grew by. The index is what size and age delete by:
 * the oldest first, as in history.
 */
const THIRD = `
CREATE TABLE records (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL,
  kind TEXT NOT NULL,
  subject TEXT NOT NULL,
  start_t INTEGER NOT NULL,
  end_t INTEGER NOT NULL,
  body TEXT NOT NULL
);
CREATE INDEX records_by_time ON records (boot, end_t, kind);

ALTER TABLE trips ADD COLUMN summary TEXT;

CREATE VIEW truck_records AS
  SELECT records.id AS id,
         strftime('%Y-%m-%dT%H:%M:%fZ', (runs.zero_wall_ms + records.start_t) / 1000.0, 'unixepoch') AS at,
         strftime('%Y-%m-%dT%H:%M:%fZ', (runs.zero_wall_ms + records.end_t) / 1000.0, 'unixepoch') AS ended,
         runs.synced AS synced, records.kind AS kind, records.subject AS subject, records.body AS body,
         records.boot AS boot, records.start_t AS start_t, records.end_t AS end_t
  FROM records JOIN runs ON runs.boot = records.boot;

CREATE VIEW brake_applications AS
  SELECT id, at, synced, body ->> '$.durationS' AS duration_s, body ->> '$.peakKpa' AS peak_kpa,
         body ->> '$.meanKpa' AS mean_kpa, body ->> '$.startKmh' AS start_kmh, body ->> '$.endKmh' AS end_kmh,
         body ->> '$.from' AS told_by, body ->> '$.qualifying' AS qualifying, body ->> '$.airUsedKpa' AS air_used_kpa,
         body -> '$.wheels' AS wheels, boot, start_t, end_t
  FROM truck_records WHERE kind = 'brake-application';

CREATE VIEW air_tests AS
  SELECT id, at, synced, body ->> '$.state' AS state, body ->> '$.circuit' AS circuit, body ->> '$.seconds' AS seconds,
         body ->> '$.fallKpa' AS fall_kpa, body ->> '$.kpaPerMin' AS kpa_per_min, body ->> '$.limit' AS limit_kpa_per_min,
         body ->> '$.units' AS units, body -> '$.thirds' AS thirds, boot, start_t, end_t
  FROM truck_records WHERE kind = 'air-test';

CREATE VIEW air_cycles AS
  SELECT id, at, synced, body ->> '$.cutInKpa' AS cut_in_kpa, body ->> '$.cutOutKpa' AS cut_out_kpa,
         body ->> '$.pumpingS' AS pumping_s, body ->> '$.revolutionsPer100Kpa' AS revolutions_per_100_kpa,
         boot, start_t, end_t
  FROM truck_records WHERE kind = 'air-cycle';

CREATE VIEW start_checks AS
  SELECT id, at, ended, synced, body ->> '$.trip' AS trip, body ->> '$.why' AS why, body ->> '$.stoodS' AS stood_s,
         body -> '$.tires' AS tires, body -> '$.brakes' AS brakes, body -> '$.air' AS air, boot, start_t, end_t
  FROM truck_records WHERE kind = 'start-check';
`;

export const MIGRATIONS: readonly Migration[] = [
  { what: 'the first schema', sql: FIRST },
  { what: 'what decided events and trips; a packed state', sql: SECOND },
  { what: 'records of what happened on the truck; more in the summary of a trip', sql: THIRD },
];

/** What `PRAGMA user_version` says of a database that this program has opened. */
export const SCHEMA_VERSION = MIGRATIONS.length;
