import { createHash, type Hash } from 'node:crypto';
import { once } from 'node:events';
import { createWriteStream, existsSync } from 'node:fs';
import { open, rename, rm } from 'node:fs/promises';
import { dirname } from 'node:path';
import type { Writable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { createGzip } from 'node:zlib';
import { pack as tarPack } from 'tar-stream';
import { MANIFEST, type Manifest, type ManifestEntry } from './manifest.js';

/** Read from a file at a time. */
const CHUNK_BYTES = 2 ** 18;

export interface WriterOptions {
  /** Not there yet; packed with gzip when the name ends in .gz or .tgz. */
  path: string;
  /** Stamp of every entry. */
  now: Date;
  /** Bytes of content that went in since the last call. */
  onBytes?: (bytes: number) => void;
  /** Takes the archive's bytes; default: the file. For tests. */
  sink?: (path: string) => Writable;
}

/**
 * Writes an archive as a stream, with bounded memory. It lies beside its name as `.part` until it is whole and on disk. Methods
 * are called one after the other and reject with what the system says; then `abort` is to be called.
 */
export class ArchiveWriter {
  readonly #options: WriterOptions;
  readonly #pack = tarPack();
  readonly #entries: ManifestEntry[] = [];
  readonly #sink: Writable;
  readonly #written: Promise<void>;
  readonly #failed = new AbortController();
  #failure: unknown = null;

  constructor(options: WriterOptions) {
    this.#options = options;
    // Where a truck was and what it did is not everybody's business.
    const sink = options.sink?.(partOf(options.path)) ?? createWriteStream(partOf(options.path), { mode: 0o600 });
    this.#sink = sink;
    this.#written = /\.(?:gz|tgz)$/.test(options.path)
      ? pipeline(this.#pack, createGzip(), sink)
      : pipeline(this.#pack, sink);
    // Met again at `finish`; a write that waits for room must hear of it now.
    this.#written.catch((error: unknown) => {
      this.#failure ??= error;
      this.#failed.abort();
    });
  }

  async addText(name: string, text: string): Promise<void> {
    const bytes = Buffer.from(text);
    await this.#add(name, bytes.length, [bytes]);
  }

  /** A file as long as it is now, though it be written to meanwhile. False: it is no longer there. */
  async addFile(name: string, path: string): Promise<boolean> {
    const file = await open(path, 'r').catch((error: NodeJS.ErrnoException) => {
      if (error.code === 'ENOENT') return null;
      throw error;
    });
    if (file === null) return false;
    try {
      const { size } = await file.stat();
      await this.#add(name, size, readUpTo(file, size, path));
    } finally {
      await file.close();
    }
    return true;
  }

  /** Adds the manifest and puts the archive under its name. Gives its entries. */
  async finish(about: Omit<Manifest, 'entries'>): Promise<ManifestEntry[]> {
    const { path } = this.#options;
    const manifest: Manifest = { ...about, entries: [...this.#entries] };
    await this.addText(MANIFEST, `${JSON.stringify(manifest, null, 1)}\n`);
    this.#pack.finalize();
    await this.#written;
    if (this.#options.sink !== undefined) return this.#entries;
    await synced(partOf(path));
    if (existsSync(path)) throw new Error(`${path} has come into being meanwhile`);
    await rename(partOf(path), path);
    await synced(dirname(path));
    return this.#entries;
  }

  /** Takes away what was written of it. */
  async abort(): Promise<void> {
    this.#pack.destroy(new Error('given up'));
    await this.#written.catch(() => {});
    if (this.#options.sink !== undefined) return;
    // A file that is only being opened would come into being after it was removed.
    if (!this.#sink.closed) await new Promise<void>((resolve) => void this.#sink.once('close', () => resolve()));
    await rm(partOf(this.#options.path), { force: true });
  }

  async #add(name: string, size: number, chunks: AsyncIterable<Buffer> | Iterable<Buffer>): Promise<void> {
    const hash = createHash('sha256');
    const header = { name, size, mtime: this.#options.now, mode: 0o644, type: 'file' as const };
    const entry = this.#pack.entry(header) as unknown as Writable;
    // What goes wrong shows at the archive's own end, too.
    entry.on('error', () => {});
    for await (const chunk of chunks) await this.#write(entry, chunk, hash);
    entry.end();
    this.#entries.push({ name, bytes: size, sha256: hash.digest('hex') });
    this.#check();
  }

  async #write(entry: Writable, chunk: Buffer, hash: Hash): Promise<void> {
    this.#check();
    hash.update(chunk);
    this.#options.onBytes?.(chunk.length);
    if (entry.write(chunk)) return;
    await once(entry, 'drain', { signal: this.#failed.signal }).catch((error: unknown) => {
      this.#check();
      throw error;
    });
  }

  #check(): void {
    if (this.#failure !== null) throw this.#failure;
  }
}

const partOf = (path: string): string => `${path}.part`;

async function* readUpTo(
  file: { read(buffer: Buffer, offset: number, length: number): Promise<{ bytesRead: number }> },
  size: number,
  path: string,
): AsyncGenerator<Buffer> {
  for (let left = size; left > 0; ) {
    // A new one each time: the archive still holds the one before.
    const buffer = Buffer.allocUnsafe(Math.min(CHUNK_BYTES, left));
    const { bytesRead } = await file.read(buffer, 0, buffer.length);
    if (bytesRead === 0) throw new Error(`${path} has become shorter while it was read; try again`);
    left -= bytesRead;
    yield buffer.subarray(0, bytesRead);
  }
}

async function synced(path: string): Promise<void> {
  const handle = await open(path, 'r');
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}
