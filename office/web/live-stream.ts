import type { ServerResponse } from 'node:http';
import type { Caller } from './caller.js';

/** One piece of text/event-stream. subject: of two with the same one only the last matters. */
export interface Frame {
  subject: string;
  bytes: Buffer;
}

export const frameOf = (event: string, subject: string, data: unknown): Frame => ({
  subject,
  // JSON has no line breaks outside of what it escapes.
  bytes: Buffer.from(`event: ${event}\ndata: ${JSON.stringify(data)}\n\n`),
});

export interface LiveStreamOptions {
  caller: Caller;
  response: ServerResponse;
  bufferBytes: number;
  mostMissed: number;
  stallMs: number;
  slowestBytesPerS: number;
  /** The whole board, for a reader that missed too much. */
  welcome(): readonly Frame[];
}

/** One reader. While it does not keep up, what changes is kept per subject, the last of each; when it does not for long, it is dropped. */
export class LiveStream {
  readonly caller: Caller;
  /** It was too slow. */
  isDropped = false;
  readonly #options: LiveStreamOptions;
  readonly #response: ServerResponse;
  /** From this moment on, by the monotonic clock, it is too slow; null: it keeps up. */
  #tooSlowAt: number | null = null;
  #isOver = false;
  /** Null: too much was missed. */
  #missed: Map<string, Frame> | null = new Map();

  constructor(options: LiveStreamOptions) {
    this.#options = options;
    this.caller = options.caller;
    this.#response = options.response;
    this.#response.on('drain', () => this.#catchUp());
    this.#write(options.welcome());
  }

  send(frame: Frame): void {
    if (this.#isOver) return;
    if (this.#tooSlowAt === null) this.#write([frame]);
    else if (performance.now() > this.#tooSlowAt) this.#drop();
    else this.#miss(frame);
  }

  /** A line that keeps the connection, and proxies between, awake. */
  beat(bytes: Buffer): void {
    if (this.#isOver) return;
    if (this.#tooSlowAt === null) this.#response.write(bytes);
    else if (performance.now() > this.#tooSlowAt) this.#drop();
  }

  /** What is on its way still goes out, as long as it moves. */
  end(): void {
    this.#isOver = true;
    this.#response.socket?.setTimeout(this.#options.stallMs, () => this.#response.destroy());
    this.#response.end();
  }

  #write(frames: readonly Frame[]): void {
    for (const { bytes } of frames) this.#response.write(bytes);
    const { bufferBytes, stallMs, slowestBytesPerS } = this.#options;
    const waiting = this.#response.writableLength;
    if (waiting > bufferBytes) this.#tooSlowAt = performance.now() + stallMs + (1_000 * waiting) / slowestBytesPerS;
  }

  #miss(frame: Frame): void {
    if (this.#missed === null) return;
    this.#missed.set(frame.subject, frame);
    if (this.#missed.size > this.#options.mostMissed) this.#missed = null;
  }

  #catchUp(): void {
    if (this.#tooSlowAt === null || this.#isOver) return;
    const frames = this.#missed === null ? this.#options.welcome() : [...this.#missed.values()];
    this.#tooSlowAt = null;
    this.#missed = new Map();
    this.#write(frames);
  }

  #drop(): void {
    this.#isOver = true;
    this.isDropped = true;
    this.#response.destroy();
  }
}
