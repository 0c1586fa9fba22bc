import type { FastifyReply } from 'fastify';
import type { BoardSource } from './board-source.js';
import type { Caller } from './caller.js';
import { WebError } from './errors.js';
import type { WebLimits } from './limits.js';
import { type Frame, frameOf, LiveStream } from './live-stream.js';

/** One board is written for all who come within this time; what changed since then goes behind it. */
const BOARD_MS = 1_000;
const MOST_SINCE = 200;
/** A browser connects again after this and up to as much more, so that not all come at once after a restart. */
const RETRY_MS = 2_000;
const KEEP_ALIVE_MS = 30_000;

export const LIVE_HEADERS: Readonly<Record<string, string>> = {
  'content-type': 'text/event-stream; charset=utf-8',
  'cache-control': 'no-store, no-transform',
  // A proxy that gathers answers before it hands them on would hold the board back.
  'x-accel-buffering': 'no',
};

export interface LiveOptions {
  source: Pick<BoardSource, 'snapshot' | 'onTruck' | 'onNotes' | 'counts'>;
  limits: WebLimits;
  /** Sessions end while their streams are open. */
  isAlive(caller: Caller): Promise<boolean>;
  onError(error: unknown): void;
}

/** The board as it changes, to all who watch: first the whole of it, then each truck that changed. */
export class LiveBoard {
  readonly counts = { dropped: 0, refused: 0 };
  readonly #options: LiveOptions;
  readonly #streams = new Set<LiveStream>();
  readonly #ends: (() => void)[];
  #board: { frames: Frame[]; atMs: number } | null = null;
  /** What pages were last told of it, as JSON. */
  #reach = '';
  #isChecking = false;

  constructor(options: LiveOptions) {
    this.#options = options;
    const { source, limits } = options;
    const timer = setInterval(() => this.#beat(), limits.heartbeatMs);
    this.#ends = [
      source.onTruck((truck) => this.#tell('truck', `${truck.fleet}/${truck.truck}`, truck)),
      source.onNotes((notes) => this.#tell('notes', 'notes', notes)),
      () => clearInterval(timer),
    ];
  }

  get open(): number {
    return this.#streams.size;
  }

  /** Throws a WebError when there are too many. */
  start(caller: Caller, reply: FastifyReply): void {
    this.#refuse(caller);
    // Before the answer has begun: if the board cannot be told, that is said.
    this.#welcome();
    reply.hijack();
    const response = reply.raw;
    // Gone while its session was looked up.
    if (response.destroyed) return;
    response.writeHead(200, LIVE_HEADERS);
    // A laptop that was closed says no good-bye.
    response.socket?.setKeepAlive(true, KEEP_ALIVE_MS);
    response.write(`retry: ${Math.round(RETRY_MS * (1 + Math.random()))}\n\n`);
    const { limits } = this.#options;
    const stream = new LiveStream({
      caller,
      response,
      bufferBytes: limits.liveBufferBytes,
      mostMissed: limits.liveMissed,
      stallMs: limits.liveStallMs,
      slowestBytesPerS: limits.liveSlowestBytesPerS,
      welcome: () => this.#welcome(),
    });
    this.#streams.add(stream);
    response.on('error', () => response.destroy());
    response.on('close', () => {
      this.#streams.delete(stream);
      if (stream.isDropped) this.counts.dropped++;
    });
  }

  /** All streams of a session that has ended. */
  endOf(key: string): void {
    for (const stream of this.#streams) if (stream.caller.key === key) stream.end();
  }

  close(): void {
    for (const end of this.#ends) end();
    for (const stream of this.#streams) stream.end();
  }

  #refuse({ key }: Caller): void {
    const { liveInAll, livePerSession } = this.#options.limits;
    const own = [...this.#streams].filter(({ caller }) => caller.key === key).length;
    if (own < livePerSession && this.#streams.size < liveInAll) return;
    this.counts.refused++;
    if (own >= livePerSession) throw new WebError(429, `the board is open ${own} times here; close one of them`);
    throw new WebError(503, 'too many boards are open', { 'retry-after': '30' });
  }

  #tell(event: string, subject: string, data: unknown): void {
    if (this.#streams.size === 0) {
      this.#board = null;
      return;
    }
    const frame = frameOf(event, subject, data);
    if (this.#board !== null && this.#board.frames.push(frame) > MOST_SINCE) this.#board = null;
    for (const stream of this.#streams) stream.send(frame);
  }

  #welcome(): readonly Frame[] {
    const now = performance.now();
    if (this.#board === null || now - this.#board.atMs > BOARD_MS) {
      this.#board = { frames: [frameOf('board', 'board', this.#options.source.snapshot())], atMs: now };
    }
    return this.#board.frames;
  }

  /** A page that came since then has them from its board, and may hear them once more. */
  #tellCounts(): void {
    if (this.#streams.size === 0) return;
    const counts = this.#options.source.counts?.();
    const reach = JSON.stringify(counts);
    if (counts === undefined || reach === this.#reach) return;
    this.#reach = reach;
    this.#tell('counts', 'counts', counts);
  }

  #beat(): void {
    const bytes = Buffer.from(': still here\n\n');
    for (const stream of this.#streams) stream.beat(bytes);
    this.#tellCounts();
    void this.#endThoseOver().catch(this.#options.onError);
  }

  /** One after another: a slow store is not asked for hundreds at once, nor again before it has answered. */
  async #endThoseOver(): Promise<void> {
    if (this.#isChecking) return;
    this.#isChecking = true;
    try {
      for (const stream of this.#streams) if (!(await this.#options.isAlive(stream.caller))) stream.end();
    } finally {
      this.#isChecking = false;
    }
  }
}
