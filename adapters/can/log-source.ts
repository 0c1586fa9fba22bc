import { type FileHandle, open } from 'node:fs/promises';
import { gunzipped } from './gunzip.js';

/** Bytes asked of the file at a time. */
export const READ_BYTES = 2 ** 20;
const UNPACK_BYTES = 2 ** 18;

/** The bytes of a log, unpacked. Each chunk is valid only until the next one is asked for. */
export interface LogSource {
  chunks: AsyncGenerator<Uint8Array>;
  /** Bytes of the file or stream itself that were read, packed or not. */
  bytesRead(): number;
  close(): Promise<void>;
}

/** Opens a path, or `-` for `stdin`. Plain or gzip is told by the first two bytes. Throws what the system says. */
export async function openSource(path: string, stdin: AsyncIterable<Uint8Array>): Promise<LogSource> {
  const file = path === '-' ? null : await open(path, 'r');
  let bytes = 0;
  async function* counted(): AsyncGenerator<Uint8Array> {
    for await (const chunk of file === null ? stdin : fileChunks(file)) {
      bytes += chunk.length;
      yield chunk;
    }
  }
  const chunks = unpacked(counted());
  const close = async () => {
    // Ends a read that is on its way, and the unpacking.
    await chunks.return(undefined);
    await file?.close();
  };
  return { chunks, bytesRead: () => bytes, close };
}

/** Two buffers in turn: while one is parsed the next read is on its way. */
async function* fileChunks(file: FileHandle): AsyncGenerator<Uint8Array> {
  const buffers = [Buffer.allocUnsafeSlow(READ_BYTES), Buffer.allocUnsafeSlow(READ_BYTES)] as const;
  const read = (turn: number) => file.read(buffers[turn & 1 ? 1 : 0], 0, READ_BYTES, null);
  let coming = read(0);
  try {
    for (let turn = 0; ; turn++) {
      const { bytesRead, buffer } = await coming;
      if (bytesRead === 0) return;
      coming = read(turn + 1);
      // The error is met at the next await; until then it is not unhandled.
      coming.catch(() => {});
      yield buffer.subarray(0, bytesRead);
    }
  } finally {
    await coming.catch(() => {});
  }
}

async function* unpacked(chunks: AsyncGenerator<Uint8Array>): AsyncGenerator<Uint8Array> {
  let head: Uint8Array = new Uint8Array(0);
  while (head.length < 2) {
    const next = await chunks.next();
    if (next.done) break;
    head = head.length === 0 ? next.value : Buffer.concat([head, next.value]);
  }
  const whole = withHead(head, chunks);
  if (head[0] === 0x1f && head[1] === 0x8b) yield* gunzipped(whole, UNPACK_BYTES);
  else yield* whole;
}

async function* withHead(head: Uint8Array, rest: AsyncGenerator<Uint8Array>): AsyncGenerator<Uint8Array> {
  if (head.length > 0) yield head;
  yield* rest;
}
