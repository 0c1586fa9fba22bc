import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach } from 'vitest';
import type { OfficeStore } from '../../../office/store/contract.js';
import { openSqliteStore } from '../../../office/store/sqlite.js';

/** What each test leaves behind, undone in the reverse order. */
const endings: (() => unknown)[] = [];
export const atEnd = (end: () => unknown): number => endings.push(end);

afterEach(async () => {
  for (const end of endings.splice(0).reverse()) await end();
});

export function tempDir(): string {
  const directory = mkdtempSync(join(tmpdir(), 'axlepost-office-'));
  atEnd(() => rmSync(directory, { recursive: true, force: true }));
  return directory;
}

export const pathIn = (directory: string): string => join(directory, 'office.db');

/** Closed after the test, if it is not then. */
export async function openSqlite(path = pathIn(tempDir())): Promise<OfficeStore> {
  const store = await openSqliteStore({ path });
  atEnd(() => store.close());
  return store;
}

export async function all<T>(items: AsyncIterable<T>): Promise<T[]> {
  const found: T[] = [];
  for await (const item of items) found.push(item);
  return found;
}
