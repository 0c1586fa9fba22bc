import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { Database } from '../../../adapters/store/sqlite.js';
import type { Folded, Incoming, TruckKey, TruckState } from '../../../office/core/model.js';
import type { OfficeStore } from '../../../office/store/contract.js';
import { SCHEMA_VERSION as POSTGRES_VERSION } from '../../../office/store/postgres-schema.js';
import { APPLICATION_ID, SCHEMA_VERSION } from '../../../office/store/sqlite-schema.js';
import { event, KEY, notice, OTHER, officeAlert, reading, STORE, T0, trip } from './messages.js';
import { openPostgres, postgresIsInstalled, serverForTests } from './postgres.js';
import { atEnd, openSqlite, pathIn, tempDir } from './stores.js';

const PAGE = readFileSync(new URL('../../../docs/office-database.md', import.meta.url), 'utf8');
const QUERIES = [...PAGE.matchAll(/```sql\n([\s\S]*?)```/g)].map((match) => match[1]!);

/** Tables and views of the page, each with its columns. */
function documented(): string[] {
  return PAGE.split(/^### /m)
    .slice(1)
    .map((section) => {
      const name = /^`(\w+)`/.exec(section)?.[1] ?? '?';
      const rows = section
        .split(/^## /m)[0]!
        .split('\n')
        .filter((line) => line.startsWith('| `'));
      const columns = rows.flatMap((row) => [...row.split('|')[1]!.matchAll(/`(\w+)`/g)].map((match) => match[1]!));
      return `${name}: ${columns.sort()}`;
    })
    .sort();
}

function listed(rows: readonly { name: string; column: string }[]): string[] {
  const columns = new Map<string, string[]>();
  for (const { name, column } of rows) columns.set(name, [...(columns.get(name) ?? []), column]);
  return [...columns].map(([name, of]) => `${name}: ${of.sort()}`).sort();
}

async function fill(store: OfficeStore): Promise<void> {
  const open = [
    officeAlert({ urgency: 'plan', place: 'tractor axle 3, right inner tire' }),
    officeAlert({ id: `T-1042.${STORE}.9`, urgency: 'pull-over', taken: { who: 'Ana', at: '' } }),
    officeAlert({ kind: 'system' }),
  ];
  const folding = (_: TruckKey, state: TruckState): Folded => ({
    state: { ...state, revision: 1, heardMs: T0 - 1, alerts: open },
    notices: [notice(T0, { channel: 'desk' })],
  });
  const messages: Incoming[] = [event(1), event(2, T0, { change: 'taken', who: 'Ana' }), reading(T0), trip(1), trip(2)];
  await store.receive([{ key: KEY, messages }], folding);
  await store.receive([{ key: OTHER, messages: [] }], (_, state) => ({
    state: { ...state, heardMs: T0 },
    notices: [],
  }));
  const [due] = await store.dueNotices(T0, 1, 1);
  await store.noticeFailed(due!.id, null, 'HTTP 410');
}

const FOUND = [
  [
    { truck: 'T-1042', urgency: 'pull-over', taken_by: 'Ana' },
    { urgency: 'plan', place: 'tractor axle 3, right inner tire', taken_by: null },
  ],
  [
    { change: 'raised', who: null, advice: 'Check the tire – now.' },
    { change: 'taken', who: 'Ana' },
  ],
  [{ truck: 'T-1042', rule: 'tire-losing-air' }],
  [{ fleet: 'northline', truck: 'T-1042', km: 424.8 }],
  [{ channel: 'desk', why: 'raised', error: 'HTTP 410', attempts: 1 }],
  [{ truck: 'T-1042' }],
];

describe('docs/office-database.md, SQLite', () => {
  test('has every table, view and column, and none that is not there but PostgreSQL’s own', async () => {
    const path = pathIn(tempDir());
    await fill(await openSqlite(path));
    const db = new Database(path);
    atEnd(() => db.close());
    const rows = db
      .prepare<[], { name: string; column: string }>(
        `SELECT s.name, c.name AS "column" FROM sqlite_schema s, pragma_table_info(s.name) c WHERE s.type IN ('table', 'view')`,
      )
      .all();
    expect(listed(rows)).toEqual(documented().filter((line) => !line.startsWith('meta:')));
    expect(QUERIES.map((query) => db.prepare(query).all())).toMatchObject(FOUND);
  });

  test('names the present version and whose file it is', () => {
    expect(PAGE).toContain(`schema's version (now ${SCHEMA_VERSION})`);
    expect(POSTGRES_VERSION).toBe(SCHEMA_VERSION);
    expect(PAGE).toContain(`\`PRAGMA application_id\` is ${APPLICATION_ID} (\`AXLO\`)`);
  });
});

describe.skipIf(!postgresIsInstalled)('docs/office-database.md, PostgreSQL', () => {
  const server = serverForTests();

  test('has every table, view and column; months are none of their own; readers get what they are given', async () => {
    const database = await server().database();
    const store = await openPostgres(server().url(database));
    await fill(store);
    const rows = await server().query<{ name: string; column: string }>(
      database,
      `SELECT c.relname::text AS name, a.attname::text AS column FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
       WHERE c.relnamespace = 'axlepost_office'::regnamespace AND c.relkind IN ('r', 'p', 'v') AND NOT c.relispartition
         AND a.attnum > 0 AND NOT a.attisdropped`,
    );
    expect(listed(rows)).toEqual(documented());
    const grants = /```\n(GRANT[\s\S]*?)```/.exec(PAGE)![1]!;
    await server().query(database, `CREATE ROLE reader; ${grants}`);
    const asReader = (query: string) =>
      server().query(database, `SET ROLE reader; SET search_path = axlepost_office; ${query}`);
    await expect(asReader('SELECT * FROM accounts')).rejects.toThrow('permission denied');
    await expect(asReader('SELECT * FROM events')).resolves.not.toThrow();
    const found: unknown[] = [];
    for (const query of QUERIES)
      found.push(await server().query(database, `SET search_path = axlepost_office; ${query}`));
    expect(found).toMatchObject(FOUND);
  });
});
