import { closeSync, fstatSync, openSync, readFileSync, statSync } from 'node:fs';
import { marksText, readMarks } from '../../config/marks.js';
import type { Mark } from '../../config/resolved.js';
import { replaceFile } from './replace-file.js';

/** The longest list of marks is a quarter of this. */
const MAX_BYTES = 262_144;

/** Where the marks of a truck lie: beside its store. */
export const marksPath = (storePath: string): string => `${storePath}.marks.json`;

/** What a file is known by: a replaced one has another inode, an edited one another time or size. */
const identity = ({ ino, size, mtimeNs }: { ino: bigint; size: bigint; mtimeNs: bigint }): string =>
  `${ino} ${size} ${mtimeNs}`;

/** What people said of sensors, on disk. `axlepost mark` writes it, the daemon looks at it again and again. */
export class MarksFile {
  readonly path: string;
  /** Of what was read last; null: there was no file, undefined: never read. */
  #seen: string | null | undefined;

  constructor(path: string) {
    this.path = path;
  }

  /** Is there something other than what was read last? One look at the directory entry. Never throws. */
  changed(): boolean {
    try {
      const entry = statSync(this.path, { bigint: true, throwIfNoEntry: false });
      return (entry === undefined ? null : identity(entry)) !== this.#seen;
    } catch (error) {
      return seenAs(systemCode(error)) !== this.#seen;
    }
  }

  /** The marks; one line that says what is wrong with the file; or null when there is none. Never throws. */
  read(): { marks: Mark[]; problem?: never } | { problem: string } | null {
    let file: number;
    try {
      file = openSync(this.path, 'r');
    } catch (error) {
      const code = systemCode(error);
      this.#seen = seenAs(code);
      return code === 'ENOENT'
        ? null
        : { problem: `${this.path}: cannot be read (${code}) — check its owner and mode` };
    }
    try {
      // Before its text: what changes while it is read is then seen as changed.
      const entry = fstatSync(file, { bigint: true });
      this.#seen = identity(entry);
      if (entry.size > MAX_BYTES)
        return { problem: `${this.path}: ${entry.size} bytes are no list of marks — remove it` };
      return readMarks(readFileSync(file, 'utf8'), this.path);
    } catch (error) {
      return { problem: `${this.path}: cannot be read (${systemCode(error)}) — check what it is` };
    } finally {
      closeSync(file);
    }
  }

  /** Replaces the file: whoever reads sees the old list or the new one, after a power cut too. Throws what the system says. */
  write(marks: readonly Mark[]): void {
    // The daemon may be another user than who marks.
    replaceFile(this.path, marksText(marks), 0o644);
  }
}

/** Newer versions of Node call a path below a file no entry, older ones an error. */
const seenAs = (code: string): string | null => (code === 'ENOENT' || code === 'ENOTDIR' ? null : code);

const systemCode = (error: unknown): string => (error as NodeJS.ErrnoException).code ?? String(error);
