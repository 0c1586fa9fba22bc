import { createHash } from 'node:crypto';
import { copyFileSync, existsSync, mkdirSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { Database } from '../../../adapters/store/sqlite.js';

/** What lies in a folder, to the byte, with the time of its last change. */
export function lookAt(folder: string): Record<string, string> {
  const of = (name: string): string => {
    const path = join(folder, name);
    const { mtimeMs, mode } = statSync(path);
    return `${createHash('sha256').update(readFileSync(path)).digest('hex')} ${mtimeMs} ${mode.toString(8)}`;
  };
  return Object.fromEntries(readdirSync(folder).map((name) => [name, of(name)]));
}

/** A copy of a database, with those of its companions that are named and there. Gives its path. */
export function pulled(path: string, into: string, ends: readonly string[] = []): string {
  mkdirSync(into, { recursive: true });
  const copy = join(into, 'pulled.db');
  for (const end of ['', ...ends]) if (existsSync(path + end)) copyFileSync(path + end, copy + end);
  return copy;
}

/** Rows by plain SQL, on a connection of its own. */
export function plainSql(path: string, sql: string, ...params: unknown[]): Record<string, unknown>[] {
  const db = new Database(path, { readonly: true });
  try {
    return db.prepare(sql).all(...params) as Record<string, unknown>[];
  } finally {
    db.close();
  }
}
