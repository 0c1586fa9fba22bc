import { closeSync, openSync, readSync } from 'node:fs';

const CHUNK_BYTES = 65_536;

/**
 * The text of a file of at most so many bytes, whatever its directory entry says of its size (a device has none); null: there
 * are more. Throws what the system says.
 */
export function readBounded(path: string, maxBytes: number): string | null {
  const file = openSync(path, 'r');
  try {
    const chunks: Buffer[] = [];
    for (let total = 0; ; ) {
      const chunk = Buffer.alloc(Math.min(CHUNK_BYTES, maxBytes + 1 - total));
      const bytes = readSync(file, chunk);
      if (bytes === 0) return Buffer.concat(chunks).toString('utf8');
      chunks.push(chunk.subarray(0, bytes));
      total += bytes;
      if (total > maxBytes) return null;
    }
  } finally {
    closeSync(file);
  }
}
