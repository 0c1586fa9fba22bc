import { StoreError } from './contract.js';

export const DAMAGED = 'the file is damaged; stop the office and move it aside, as docs/office-database.md tells';
const RIGHTS = 'check the disk and the rights of its folder';

/** SQLite's primary result codes (https://www.sqlite.org/rescode.html); extended ones begin with these and an underscore. */
const HINTS: readonly (readonly [code: string, hint: string])[] = [
  ['SQLITE_FULL', 'make room on the disk'],
  ['SQLITE_CORRUPT', DAMAGED],
  ['SQLITE_NOTADB', DAMAGED],
  ['SQLITE_BUSY', 'another program keeps it locked; end that program'],
  ['SQLITE_LOCKED', 'another program keeps it locked; end that program'],
  ['SQLITE_IOERR', RIGHTS],
  ['SQLITE_READONLY', RIGHTS],
  ['SQLITE_CANTOPEN', RIGHTS],
  ['SQLITE_PROTOCOL', RIGHTS],
  ['SQLITE_PERM', RIGHTS],
  ['SQLITE_AUTH', RIGHTS],
  ['SQLITE_NOMEM', 'the machine has too little memory'],
];

/** The world's errors as a StoreError with the file in its line; our own come back as they are. */
export function asStoreError(error: unknown, path: string): unknown {
  if (!(error instanceof Error) || error instanceof StoreError) return error;
  const code = 'code' in error ? String(error.code) : '';
  const hint = HINTS.find(([prefix]) => code === prefix || code.startsWith(`${prefix}_`))?.[1];
  const text = error.message.replace(/\s+/g, ' ');
  if (hint !== undefined) return new StoreError(`${path}: ${text}; ${hint}`, { cause: error });
  if ('syscall' in error) return new StoreError(`${path}: ${text}; ${RIGHTS}`, { cause: error });
  return error;
}
