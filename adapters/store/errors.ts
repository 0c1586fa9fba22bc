import { constants } from 'node:os';

/**
 * Stable codes of what a store's promise can be rejected with.
 *
 * | code | meaning | what the caller can do |
 * | --- | --- | --- |
 * | store-exists | mustBeNew and the file is there | choose another name |
 * | store-newer | made by a newer program | update the program, or choose another file |
 * | store-foreign | a sound SQLite file of another program | choose another file |
 * | store-io | directory missing, not writable, I/O error | mend it; the next call tries again |
 * | store-full | no room on the disk or under maxBytes | the next call tries again |
 * | store-busy | another program holds the write lock | the next call tries again |
 * | store-taken | another program has opened the file for writing since | stop one of the two |
 * | store-corrupt | broken, and it could not be moved aside | mend the disk |
 * | store-behind | more calls wait than MAX_PENDING | wait for answers |
 * | store-closed | after close() | – |
 * | store-died | the worker ended by itself: our bug | restart |
 * | store-bug | an exception that is none of the above: our bug | restart |
 */
export const STORE_ERROR_CODES = [
  'store-exists',
  'store-newer',
  'store-foreign',
  'store-io',
  'store-full',
  'store-busy',
  'store-taken',
  'store-corrupt',
  'store-behind',
  'store-closed',
  'store-died',
  'store-bug',
] as const;
export type StoreErrorCode = (typeof STORE_ERROR_CODES)[number];

/** An error with a stable `code`; the message is one line for people. */
export class StoreError extends Error {
  readonly code: StoreErrorCode;

  constructor(code: StoreErrorCode, message: string, options?: { cause?: unknown }) {
    super(message, options);
    this.name = 'StoreError';
    this.code = code;
  }
}

/** SQLite's primary result codes (https://www.sqlite.org/rescode.html); extended ones begin with these and an underscore. */
const BY_SQLITE: readonly (readonly [prefix: string, code: StoreErrorCode])[] = [
  ['SQLITE_FULL', 'store-full'],
  ['SQLITE_CORRUPT', 'store-corrupt'],
  ['SQLITE_NOTADB', 'store-corrupt'],
  // A number or a name that is there already, though it was made from the file itself: index and table disagree.
  ['SQLITE_CONSTRAINT_UNIQUE', 'store-corrupt'],
  ['SQLITE_CONSTRAINT_PRIMARYKEY', 'store-corrupt'],
  ['SQLITE_CONSTRAINT_ROWID', 'store-corrupt'],
  ['SQLITE_CONSTRAINT_FOREIGNKEY', 'store-corrupt'],
  ['SQLITE_BUSY', 'store-busy'],
  ['SQLITE_LOCKED', 'store-busy'],
  ['SQLITE_IOERR', 'store-io'],
  ['SQLITE_READONLY_DBMOVED', 'store-corrupt'],
  ['SQLITE_READONLY', 'store-io'],
  ['SQLITE_CANTOPEN', 'store-io'],
  // The index of the log could not be made or read, for as long as it was tried.
  ['SQLITE_PROTOCOL', 'store-io'],
  ['SQLITE_PERM', 'store-io'],
  ['SQLITE_AUTH', 'store-io'],
];

const SYSTEM_FULL = new Set(['ENOSPC', 'EDQUOT']);

/** Any exception as a StoreError; `path` goes into the message so that the line says which file. */
export function storeError(error: unknown, path: string): StoreError {
  if (error instanceof StoreError) return error;
  const raw = error instanceof Error && 'code' in error ? String(error.code) : '';
  const text = error instanceof Error ? error.message : String(error);
  const message = `${path}: ${text}`;
  const found = BY_SQLITE.find(([prefix]) => raw === prefix || raw.startsWith(`${prefix}_`));
  if (found !== undefined) return new StoreError(found[1], message, { cause: error });
  if (SYSTEM_FULL.has(raw)) return new StoreError('store-full', message, { cause: error });
  if (raw in constants.errno) return new StoreError('store-io', message, { cause: error });
  return new StoreError('store-bug', message, { cause: error });
}
