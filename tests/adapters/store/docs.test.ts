import { readFileSync } from 'node:fs';
import type Database from 'better-sqlite3';
import { describe, expect, test } from 'vitest';
import { APPLICATION_ID, SCHEMA_VERSION } from '../../../adapters/store/schema.js';
import {
  airCycle,
  airTest,
  brakeApplication,
  commit,
  draft,
  historyRow,
  openDatabase,
  optionsIn,
  startCheck,
  tempDir,
} from './helpers.js';

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

/** Keys of a value and of what is in it, but for subjects. */
function keysWithin(value: unknown): string[] {
  if (Array.isArray(value)) return value.flatMap(keysWithin);
  if (value === null || typeof value !== 'object') return [];
  return Object.entries(value).flatMap(([key, inner]) => [...(key.includes('/') ? [] : [key]), ...keysWithin(inner)]);
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

  test('tells every value of every kind of record, and none that is not there', () => {
    for (const { kind, values } of [brakeApplication(), airTest(), airCycle(), startCheck(1)]) {
      const section = new RegExp(`^- \\*\\*${kind}\\*\\*\\n([\\s\\S]*?)(?=^- \\*\\*|^## )`, 'm').exec(PAGE)?.[1] ?? '';
      const rows = section.split('\n').filter((line) => line.startsWith('  | `'));
      const keys = rows.flatMap((row) => [...row.split('|')[1]!.matchAll(/`(\w+)`/g)].map((match) => match[1]!));
      expect([kind, ...keys.sort()]).toEqual([kind, ...Object.keys(values).sort()]);
    }
    const nested = startCheck(1).values;
    for (const key of ['tires', 'brakes', 'air'] as const) {
      const row = new RegExp(`^  \\| \`${key}\` \\|.*$`, 'm').exec(PAGE)![0];
      const told = [...row.matchAll(/`(\w+)`/g)].map((match) => match[1]!);
      expect(new Set(told.slice(1))).toEqual(new Set(keysWithin(nested[key])));
    }
  });

  test('its example queries run and find what is there', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit([
      commit({
        events: [draft(1, 'raised'), draft(2, 'raised', { urgency: 'pull-over' })],
        history: [historyRow(60_000)],
        records: [brakeApplication({ peakKpa: 412 }), startCheck(7)],
      }),
    ]);
    const id = `T-1042.${db.opened.store}.1`;
    const queries = [...PAGE.matchAll(/```sql\n([\s\S]*?)```/g)].map((match) =>
      match[1]!.replace('T-1042.k3f9q2m1x7ab.401', id).replace("'now'", "'2026-03-05'"),
    );
    const csv = /"(SELECT at, min[\s\S]*?)"/.exec(PAGE)![1]!.replace('tractor/2/left/outer', 'tractor/1/left/single');
    const results = [...queries, csv].map((query) => db.connection.prepare(query).all());
    expect(results).toMatchObject([
      [{ urgency: 'pull-over' }, { id, urgency: 'plan' }],
      [{ at: '2026-03-02T08:01:00.000Z', change: 'raised', advice: 'Check the tire.' }],
      [{ subject: 'tractor/1/left/single', quantity: 'pressure', minutes: 1 }],
      [{ id, raised: '2026-03-02T08:01:00.000Z' }, { worst: 'pull-over' }],
      [{ waiting: 2, oldest: 1, since: '2026-03-02T08:01:00.000Z' }],
      [{ at: '2026-03-02T08:00:10.000Z', peak_kpa: 412, wheels: JSON.stringify(brakeApplication().values.wheels) }],
      [{ at: '2026-03-02T08:00:00.000Z', trip: 7, tire: 'tractor/1/left/single', cold_kpa: 827.4, share: 1 }],
      [{ at: '2026-03-02T08:01:00.000Z', min: 800.5, max: 804, last: 802 }],
    ]);
  });
});
