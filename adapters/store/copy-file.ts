import { closeSync, constants, copyFileSync, fstatSync, openSync, readSync, writeFileSync } from 'node:fs';

const COPY_BYTES = 2 ** 20;
const OWNER_ONLY = 0o600;

/**
 * Copies a file that somebody may be writing: as a clone where the file system can, else what it has up to where it ends now. libuv's own
 * copying goes on for ever when the file becomes shorter meanwhile, as a write-ahead log does that is emptied. Throws what the
 * system says.
 */
export function copyFile(path: string, copy: string): void {
  try {
    copyFileSync(path, copy, constants.COPYFILE_FICLONE_FORCE);
    return;
  } catch {
    // Not on this file system, or not between these two.
  }
  const from = openSync(path, 'r');
  try {
    const to = openSync(copy, 'w', OWNER_ONLY);
    try {
      const chunk = Buffer.allocUnsafe(COPY_BYTES);
      let left = fstatSync(from).size;
      while (left > 0) {
        const bytes = readSync(from, chunk, 0, Math.min(left, chunk.length), null);
        if (bytes === 0) return;
        writeFileSync(to, chunk.subarray(0, bytes));
        left -= bytes;
      }
    } finally {
      closeSync(to);
    }
  } finally {
    closeSync(from);
  }
}
