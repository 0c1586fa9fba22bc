import { constants, createGzip } from 'node:zlib';
import type { DiskFile } from './disk.js';

/** As small as the default of 6 within half a per cent on the demonstration shift, for two thirds of the work. */
const LEVEL = 5;

/**
 * Text into one gzip file. Packed in the thread pool; each `append` ends on a sync flush, so that a file that is cut off
 * unpacks to everything appended before. One call at a time. Methods reject with what the disk said.
 */
export class SegmentLog {
  /** Given to the disk so far. */
  bytes = 0;
  readonly #file: DiskFile;
  readonly #gzip = createGzip({ level: LEVEL });
  #packed: Uint8Array[] = [];
  #unsynced = false;

  constructor(file: DiskFile) {
    this.#file = file;
    this.#gzip.on('data', (packed: Uint8Array) => this.#packed.push(packed));
  }

  /** The text may be reused when the promise has settled. */
  async append(text: Uint8Array): Promise<void> {
    await new Promise<void>((resolve, reject) => {
      this.#gzip.once('error', reject);
      this.#gzip.write(text);
      this.#gzip.flush(constants.Z_SYNC_FLUSH, () => {
        this.#gzip.off('error', reject);
        resolve();
      });
    });
    await this.#writePacked();
  }

  async sync(): Promise<void> {
    if (!this.#unsynced) return;
    await this.#file.sync();
    this.#unsynced = false;
  }

  /** The end of the gzip data, on disk; the file is closed. */
  async end(): Promise<void> {
    await new Promise<void>((resolve, reject) => {
      this.#gzip.once('error', reject);
      this.#gzip.once('end', resolve);
      this.#gzip.end();
    });
    await this.#writePacked();
    await this.sync();
    await this.#file.close();
  }

  /** The disk has refused; what it has stays. Never rejects. */
  async abandon(): Promise<void> {
    this.#gzip.destroy();
    await this.#file.close().catch(() => {});
  }

  async #writePacked(): Promise<void> {
    // Draws what the stream still holds back; each read is also told to the listener.
    while (this.#gzip.read() !== null);
    const packed = Buffer.concat(this.#packed);
    this.#packed = [];
    if (packed.length === 0) return;
    await this.#file.append(packed);
    this.#unsynced = true;
    this.bytes += packed.length;
  }
}
