import { Database } from '../store/sqlite.js';

/** A commit of the daemon is waited for this long. */
const BUSY_MS = 5_000;

/**
 * Copies a database as it is at one moment, while another process may write it, to a path that is not there yet: one read
 * transaction (https://www.sqlite.org/lang_vacuum.html#vacuuminto), which keeps no writer of a database in WAL mode waiting.
 * Takes as long as reading and writing the file. Throws what SQLite says.
 */
export function copyDatabase(from: string, to: string): void {
  const database = new Database(from, { readonly: true, fileMustExist: true, timeout: BUSY_MS });
  try {
    database.prepare('VACUUM INTO ?').run(to);
  } finally {
    database.close();
  }
}
