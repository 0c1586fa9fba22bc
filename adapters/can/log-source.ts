import { type FileHandle, open } from 'node:fs/promises';
import { gunzipped } from './gunzip.js';

/** Bytes asked of the file at a time. */
export const READ_BYTES = 2 ** 20;
const UNPACK_BYTES = 2 ** 18;
/** Where somebody only looks at the beginning, or stops often. */
const SMALL_BYTES = 2 ** 16;

/** The bytes of a log, unpacked. Each chunk is valid only until the next one is asked for. */
export interface LogSource {
  chunks: AsyncGenerator<Uint8Array>;
  /** Bytes of the file or stream itself that were read, packed or not. */
  bytesRead(): number;
  close(): Promise<void>;
}

export interface SourceOptions {
  /** Stands for `-`; default: process.stdin. */
  stdin?: AsyncIterable<Uint8Array>;
  /** Little is wanted at a time, and often nothing but the beginning: less is read ahead then. */
  chunkBytes?: number;
}

type Buffers = readonly [Buffer, Buffer];

/**
 * Opens the logs of one reading, one after the other or side by side. Their buffers are used again: a shift in a hundred pieces
 * would else spend a fifth of its time on what they leave behind.
 */
export class LogSources {
  readonly #options: SourceOptions;
  readonly #bytes: number;
  readonly #spare: Buffers[] = [];
  #ahead: { path: string; source: Promise<LogSource> } | null = null;

  constructor(options: SourceOptions) {
    this.#options = options;
    this.#bytes = options.chunkBytes === undefined ? READ_BYTES : SMALL_BYTES;
  }

  /** Opens a path, or `-` for stdin. Plain or gzip is told by the first two bytes. Throws what the system says. */
  async open(path: string): Promise<LogSource> {
    if (this.#ahead?.path !== path) return await this.#open(path);
    const { source } = this.#ahead;
    this.#ahead = null;
    return await source;
  }

  /** This one comes next: its first chunk is read and unpacked on other threads meanwhile. Only one is open ahead. */
  ahead(path: string): void {
    if (this.#ahead !== null || this.#options.chunkBytes !== undefined) return;
    const source = this.#open(path).then((opened) => ({ ...opened, chunks: begun(opened.chunks) }));
    // What the system says is met when it is opened; until then it is not unhandled.
    source.catch(() => {});
    this.#ahead = { path, source };
  }

  /** Closes what was opened ahead and is not wanted any more. */
  async close(): Promise<void> {
    const opened = await this.#ahead?.source.catch(() => null);
    this.#ahead = null;
    await opened?.close();
  }

  async #open(path: string): Promise<LogSource> {
    const file = path === '-' ? null : await open(path, 'r');
    let bytes = 0;
    const read = file === null ? (this.#options.stdin ?? process.stdin) : this.#fileChunks(file);
    async function* counted(): AsyncGenerator<Uint8Array> {
      for await (const chunk of read) {
        bytes += chunk.length;
        yield chunk;
      }
    }
    const chunks = unpacked(counted(), Math.min(this.#bytes, UNPACK_BYTES));
    const close = async () => {
      // Ends a read that is on its way, and the unpacking.
      await chunks.return(undefined);
      await file?.close();
    };
    return { chunks, bytesRead: () => bytes, close };
  }

  /** Two buffers in turn: while one is parsed the next read is on its way. */
  async *#fileChunks(file: FileHandle): AsyncGenerator<Uint8Array> {
    const size = this.#bytes;
    const buffers = this.#spare.pop() ?? ([Buffer.allocUnsafeSlow(size), Buffer.allocUnsafeSlow(size)] as const);
    const read = (turn: number) => file.read(buffers[turn & 1 ? 1 : 0], 0, size, null);
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
      this.#spare.push(buffers);
    }
  }
}

/** The same chunks, the first of them asked for at once. */
function begun(chunks: AsyncGenerator<Uint8Array>): AsyncGenerator<Uint8Array> {
  const first = chunks.next();
  first.catch(() => {});
  return (async function* () {
    const { done, value } = await first;
    if (done !== true) yield value;
    yield* chunks;
  })();
}

async function* unpacked(chunks: AsyncGenerator<Uint8Array>, outputBytes: number): AsyncGenerator<Uint8Array> {
  let head: Uint8Array = new Uint8Array(0);
  while (head.length < 2) {
    const next = await chunks.next();
    if (next.done) break;
    head = head.length === 0 ? next.value : Buffer.concat([head, next.value]);
  }
  const whole = withHead(head, chunks);
  if (head[0] === 0x1f && head[1] === 0x8b) yield* gunzipped(whole, outputBytes);
  else yield* whole;
}

async function* withHead(head: Uint8Array, rest: AsyncGenerator<Uint8Array>): AsyncGenerator<Uint8Array> {
  if (head.length > 0) yield head;
  yield* rest;
}
