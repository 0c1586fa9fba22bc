import { readFileSync } from 'node:fs';
import type Database from 'better-sqlite3';
import { describe, expect, test } from 'vitest';
import { APPLICATION_ID, SCHEMA_VERSION } from '../../../adapters/store/schema.js';
import { commit, draft, historyRow, openDatabase, optionsIn, tempDir } from './helpers.js';

const PAGE = readFileSync(new URL('../../../docs/database.md', import.meta.url), 'utf8');

/** Tables and views of the page with their columns, in order. */
function documented(): Record<string, string[]> {
  const sections = PAGE.split(/^### /m).slice(1);
  return Object.fromEntries(
    sections.map((section) => {
      const name = /^`(\w+)`/.exec(section)?.[1] ?? '?';
      const rows = section
        .split(/^## /m)[0]!
        .split('\n')
        .filter((line) => line.startsWith('| `'));
      return [name, rows.flatMap((row) => [...row.split('|')[1]!.matchAll(/`(\w+)`/g)].map((match) => match[1]!))];
    }),
  );
}

function actual(db: Database.Database): Record<string, string[]> {
  const names = db.prepare("SELECT name FROM sqlite_schema WHERE type IN ('table', 'view')").pluck().all() as string[];
  return Object.fromEntries(
    names.map((name) => [name, db.prepare('SELECT name FROM pragma_table_info(?)').pluck().all(name) as string[]]),
  );
}

describe('docs/database.md', () => {
  test('has every table, view and column, and none that is not there', () => {
    const sorted = (all: Record<string, string[]>) =>
      Object.entries(all)
        .map(([name, columns]) => `${name}: ${[...columns].sort()}`)
        .sort();
    expect(sorted(documented())).toEqual(sorted(actual(openDatabase(optionsIn(tempDir())).connection)));
  });

  test('names the present version and whose file it is', () => {
    expect(PAGE).toContain(`version (now ${SCHEMA_VERSION})`);
    expect(PAGE).toContain(`\`PRAGMA application_id\` is ${APPLICATION_ID} `);
  });

  test('its example queries run and find what is there', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit([
      commit({
        events: [draft(1, 'raised'), draft(2, 'raised', { urgency: 'pull-over' })],
        history: [historyRow(60_000)],
      }),
    ]);
    const id = `T-1042.${db.opened.store}.1`;
    const queries = [...PAGE.matchAll(/```sql\n([\s\S]*?)```/g)].map((match) =>
      match[1]!.replace('T-1042.k3f9q2m1x7ab.401', id),
    );
    const csv = /"(SELECT at, min[\s\S]*?)"/.exec(PAGE)![1]!.replace('tractor/2/left/outer', 'tractor/1/left/single');
    const results = [...queries, csv].map((query) => db.connection.prepare(query).all());
    expect(results).toMatchObject([
      [{ urgency: 'pull-over' }, { id, urgency: 'plan' }],
      [{ at: '2026-03-02T08:01:00.000Z', change: 'raised', advice: 'Check the tire.' }],
      [{ subject: 'tractor/1/left/single', quantity: 'pressure', minutes: 1 }],
      [{ id, raised: '2026-03-02T08:01:00.000Z' }, { worst: 'pull-over' }],
      [{ waiting: 2, oldest: 1, since: '2026-03-02T08:01:00.000Z' }],
      [{ at: '2026-03-02T08:01:00.000Z', min: 800.5, max: 804, last: 802 }],
    ]);
  });
});
