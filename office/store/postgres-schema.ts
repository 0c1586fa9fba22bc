import { StoreError } from './contract.js';
import { type PostgresLink, type Run, SCHEMA } from './postgres-link.js';
import type { Migration } from './sqlite-schema.js';

/**
 * The schema of the office's PostgreSQL database: the tables of the SQLite file, with events and readings cut by month of receipt.
 * docs/office-database.md documents it as a public interface: additions only. A change here is a new step at the end.
 */

/** Of advisory locks, which the whole database shares: "AXLO", and what is locked. */
export const LOCK = { family: 0x41584c4f, schema: 1, months: 2 } as const;
/** Incremental sorts and `ON CONFLICT` on parts of tables. */
const OLDEST_SERVER = 130_000;

/** Names are compared byte by byte, as everywhere else: a database's own order may take two for one, and is slower. */
const NAME = 'text COLLATE "C" NOT NULL';

const FIRST = `
CREATE TABLE trucks (
  fleet ${NAME},
  truck ${NAME},
  revision bigint NOT NULL,
  heard_ms bigint,
  state json,
  PRIMARY KEY (fleet, truck)
) WITH (fillfactor = 70);

CREATE TABLE events (
  fleet ${NAME},
  truck ${NAME},
  store ${NAME},
  seq bigint NOT NULL,
  received_ms bigint NOT NULL,
  at text NOT NULL,
  alert ${NAME},
  rule text NOT NULL,
  subject text NOT NULL,
  change text NOT NULL,
  urgency text NOT NULL,
  body json NOT NULL
) PARTITION BY RANGE (received_ms);
CREATE INDEX events_by_time ON events (received_ms);
CREATE INDEX events_by_fleet ON events (fleet, received_ms);
CREATE INDEX events_by_truck ON events (fleet, truck, received_ms);
CREATE INDEX events_by_alert ON events (alert, received_ms);

CREATE TABLE readings (
  fleet ${NAME},
  truck ${NAME},
  at ${NAME},
  received_ms bigint NOT NULL,
  body json NOT NULL
) PARTITION BY RANGE (received_ms);
CREATE INDEX readings_by_time ON readings (received_ms);
CREATE INDEX readings_by_truck ON readings (fleet, truck, received_ms);

CREATE TABLE trips (
  fleet ${NAME},
  truck ${NAME},
  store ${NAME},
  boot bigint NOT NULL,
  trip bigint NOT NULL,
  kind text NOT NULL,
  received_ms bigint NOT NULL,
  start text NOT NULL,
  body json NOT NULL,
  PRIMARY KEY (fleet, truck, store, boot, trip, kind)
);
CREATE INDEX trips_by_time ON trips (received_ms);
CREATE INDEX trips_by_truck ON trips (fleet, truck, kind, received_ms);

CREATE TABLE gaps (
  fleet ${NAME},
  truck ${NAME},
  store ${NAME},
  from_seq bigint NOT NULL,
  to_seq bigint NOT NULL,
  what text NOT NULL,
  content text NOT NULL,
  received_ms bigint NOT NULL,
  body json NOT NULL,
  PRIMARY KEY (fleet, truck, store, from_seq, to_seq, what, content)
);
CREATE INDEX gaps_by_time ON gaps (received_ms);

CREATE TABLE notices (
  id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  fleet ${NAME},
  truck ${NAME},
  channel ${NAME},
  why text NOT NULL,
  alert ${NAME},
  due_ms bigint NOT NULL,
  attempts integer NOT NULL DEFAULT 0,
  state text NOT NULL DEFAULT 'waiting',
  taken_ms bigint,
  done_ms bigint,
  error text,
  body json NOT NULL
);
CREATE INDEX notices_due ON notices (due_ms, id) WHERE state = 'waiting';
CREATE INDEX notices_of_alert ON notices (fleet, truck, alert, channel, id) WHERE state = 'waiting';
CREATE INDEX notices_done ON notices (done_ms) WHERE state <> 'waiting';

CREATE TABLE accounts (
  name ${NAME} PRIMARY KEY,
  hash text NOT NULL
);

CREATE TABLE sessions (
  id_hash ${NAME} PRIMARY KEY,
  name ${NAME},
  token text NOT NULL,
  until_ms bigint NOT NULL
);
CREATE INDEX sessions_by_name ON sessions (name);
CREATE INDEX sessions_by_end ON sessions (until_ms);

CREATE VIEW open_alerts AS
SELECT t.fleet, t.truck, t.state ->> 'trailer' AS trailer, a ->> 'id' AS alert, a ->> 'cause' AS cause,
  a ->> 'kind' AS kind, a ->> 'rule' AS rule, a ->> 'subject' AS subject, a ->> 'place' AS place,
  a ->> 'urgency' AS urgency, a ->> 'since' AS since, a #>> '{taken,who}' AS taken_by,
  a #>> '{snoozed,until}' AS snoozed_until
FROM trucks t, json_array_elements(t.state -> 'alerts') a;
`;

export const MIGRATIONS: readonly Migration[] = [{ what: 'the first', sql: FIRST }];
export const SCHEMA_VERSION = MIGRATIONS.length;

/** To the newest schema in one transaction. Instances that start at once do it one after another. */
export async function migrate(link: PostgresLink, migrations: readonly Migration[] = MIGRATIONS): Promise<void> {
  await link.transact(async (run) => {
    await run('SELECT pg_advisory_xact_lock($1, $2)', [LOCK.family, LOCK.schema]);
    await checkServer(run, link.place);
    const had = await recognise(run, link.place, migrations.length);
    for (const { sql } of migrations.slice(had)) await run(sql);
    if (had < migrations.length) await run('UPDATE meta SET version = $1', [migrations.length]);
  });
}

async function checkServer(run: Run, place: string): Promise<void> {
  const [found] = await run<{ version: number; name: string; commit: string }>(`
    SELECT current_setting('server_version_num')::int AS version, current_setting('server_version') AS name,
      current_setting('synchronous_commit') AS commit`);
  const { version, name, commit } = found!;
  if (version < OLDEST_SERVER)
    throw new StoreError(`${place}: PostgreSQL ${name} is too old; it should be 13 or newer`);
  if (commit !== 'off') return;
  const why = 'what a truck was told is received could be lost';
  throw new StoreError(
    `${place}: synchronous_commit is off, so ${why}; ALTER ROLE its user SET synchronous_commit = on`,
  );
}

/** The version that is there; 0 of a schema that was made just now, or by hand and is empty. */
async function recognise(run: Run, place: string, newest: number): Promise<number> {
  const [found] = await run<{ schema: boolean; meta: boolean; relations: number }>(
    `SELECT n.oid IS NOT NULL AS schema, count(c.oid)::int AS relations, coalesce(bool_or(c.relname = 'meta'), false) AS meta
     FROM (SELECT 1) one LEFT JOIN pg_namespace n ON n.nspname = $1 LEFT JOIN pg_class c ON c.relnamespace = n.oid GROUP BY n.oid`,
    [SCHEMA],
  );
  const { schema, meta, relations } = found!;
  if (!schema) await run(`CREATE SCHEMA ${SCHEMA}`);
  if (relations === 0) {
    await run(`
      CREATE TABLE meta (one integer PRIMARY KEY CHECK (one = 1), version integer NOT NULL);
      INSERT INTO meta VALUES (1, 0)`);
  }
  const version = relations === 0 ? 0 : meta ? await versionIn(run) : null;
  if (version === null)
    throw new StoreError(`${place}: its schema ${SCHEMA} is another program's; choose another database`);
  if (version <= newest) return version;
  const known = `schema version ${version}, this program knows ${newest}`;
  throw new StoreError(`${place}: ${known}; update the program or choose another database`);
}

async function versionIn(run: Run): Promise<number | null> {
  const columns = await run<{ name: string }>(
    'SELECT attname AS name FROM pg_attribute WHERE attrelid = to_regclass($1) AND attnum > 0',
    [`${SCHEMA}.meta`],
  );
  if (!columns.some(({ name }) => name === 'version')) return null;
  return (await run<{ version: number }>('SELECT version FROM meta'))[0]?.version ?? null;
}
