import { closeSync, fsyncSync, openSync, readFileSync, renameSync, writeSync } from 'node:fs';
import { z } from 'zod';
import { syncDirectory } from './aside.js';

/** Which database was used last, which of its starts that was, and the last number that it gave. */
const schema = z.object({ v: z.literal(1), store: z.string(), boot: z.number().int(), seq: z.number().int() });
export type Seen = Omit<z.infer<typeof schema>, 'v'>;

const OWNER_ONLY = 0o600;
/** Always the same length, and less than a sector: it is written in place. */
const BYTES = 160;

/**
 * Stands beside the database and remembers what must not be given twice. A copy of yesterday that is put in the database's place
 * does not bring it along, and a write-ahead log that is lost does not take it away. Nothing here throws: a witness that
 * cannot be written or read says nothing.
 */
export class Witness {
  readonly #path: string;
  readonly #folderOf: string;

  constructor(databasePath: string) {
    this.#path = `${databasePath}.last.json`;
    this.#folderOf = databasePath;
  }

  read(): Seen | null {
    try {
      return schema.parse(JSON.parse(readFileSync(this.#path, 'utf8')));
    } catch {
      return null;
    }
  }

  /** At a start: on disk when it returns. */
  begin(seen: Seen): void {
    const draft = `${this.#path}.new`;
    quietly(() => {
      write(openSync(draft, 'w', OWNER_ONLY), seen, true);
      renameSync(draft, this.#path);
      syncDirectory(this.#folderOf);
    });
  }

  /**
   * A number has been given, and is on disk. This is not synced: a power cut may leave an older number here, never a newer one
   * than the database has.
   */
  gave(seen: Seen): void {
    quietly(() => write(openSync(this.#path, 'r+'), seen, false));
  }
}

function write(file: number, seen: Seen, durably: boolean): void {
  try {
    writeSync(file, `${JSON.stringify({ v: 1, ...seen }).padEnd(BYTES - 1)}\n`, 0);
    if (durably) fsyncSync(file);
  } finally {
    closeSync(file);
  }
}

function quietly(work: () => void): void {
  try {
    work();
  } catch {
    // The next start, or the next number, tries again.
  }
}
