import type { StreamMs } from '../../daemon/time.js';
import type { RecorderOptions } from './contract.js';

/** After the disk has refused. */
const RETRY_MS = 60_000;

const REFUSALS: Readonly<Record<string, string>> = {
  ENOSPC: 'the disk is full',
  EROFS: 'the disk is read-only',
  EACCES: 'no permission',
  EPERM: 'no permission',
  ENOTDIR: 'a part of the path is a file',
  EEXIST: 'a file is in the way',
  ENOENT: 'the folder has gone',
  EIO: 'the disk fails',
};

/** A disk that refuses: said once, tried again now and then, and said again when it is over. */
export class Trouble {
  /** What the disk said last; null while nothing is wrong. */
  why: string | null = null;
  readonly #folder: string;
  readonly #log: RecorderOptions['log'];
  #retryAt: StreamMs = 0;

  constructor(folder: string, log: RecorderOptions['log']) {
    this.#folder = folder;
    this.#log = log;
  }

  begins(error: unknown, t: StreamMs): void {
    this.#retryAt = t + RETRY_MS;
    const { code, message } = error as NodeJS.ErrnoException;
    const isNew = this.why === null;
    this.why = REFUSALS[code ?? ''] ?? message;
    const again = `it is tried again every ${RETRY_MS / 1000} s`;
    if (isNew) this.#log('warn', `${this.#folder}: recordings cannot be written: ${this.why}; ${again}`);
  }

  over(): void {
    if (this.why === null) return;
    this.why = null;
    this.#log('info', `${this.#folder}: recordings are written again`);
  }

  mustWait(t: StreamMs): boolean {
    return this.why !== null && t < this.#retryAt;
  }
}
