import { type DestinationStream, type Level, type Logger, pino } from 'pino';
import type { PublisherClock } from '../mqtt/clock.js';
import { RepeatLimit } from './repeat-limit.js';

/** Characters of a message by which it is told from others. */
const KIND_CHARS = 80;
/** Lines that wait for a reader who does not read: some 5,000 of them. What comes after is dropped and counted. */
const MOST_WAITING_BYTES = 1 << 20;
const STDERR = 2;

export interface Log {
  readonly logger: Logger;
  /** Lines left out because the same had been said too often, and lines lost because nobody read them. */
  readonly counters: { suppressed: number; dropped: number };
  /** Tells what was left out. What is logged afterwards is still written. */
  close(): void;
}

export interface LogOptions {
  /** By default standard error. */
  destination?: DestinationStream;
  timers?: Pick<PublisherClock, 'nowMs' | 'after'>;
}

/** A summary of lines left out must not keep a process that is done. */
const UNHURRIED: Pick<PublisherClock, 'nowMs' | 'after'> = {
  nowMs: () => performance.now(),
  after: (ms, callback) => {
    const timer = setTimeout(callback, ms);
    timer.unref();
    return () => clearTimeout(timer);
  },
};

/**
 * The program's log: JSON lines. The same message, told by its level, its first 80 characters and the words (not the numbers)
 * that go with it, is written five times a minute; then one line says how often it was left out. `fatal` always is written.
 *
 * Standard error is written in the background: it leads to the journal, and a journal that hangs on a busy disk must not hold
 * the thread that reads the bus. Lines under way are written at the end of the process, also at `process.exit`; `fatal`
 * first writes all that waits (a line that the system is writing at that moment may land after it).
 */
export function createLogger({ destination, timers = UNHURRIED }: LogOptions = {}): Log {
  const counters = { suppressed: 0, dropped: 0 };
  const out = destination ?? standardError(() => counters.dropped++);
  const limit = new RepeatLimit(timers);
  const summary = pino({ base: null, level: 'trace' }, out);
  const { labels, values } = pino.levels;
  const logger = pino(
    {
      base: null,
      hooks: {
        logMethod(args, method, level) {
          const text = textOf(args);
          const tell = (suppressed: number): void =>
            summary[labels[level] as Level]({ suppressed }, `${text} (${suppressed} more of these in a minute)`);
          if (level === values.fatal || limit.admit(`${level} ${text} ${wordsOf(args[0])}`, tell)) {
            method.apply(this, args);
          }
          counters.suppressed = limit.suppressed;
        },
      },
    },
    out,
  );
  return { logger, counters, close: () => limit.close() };
}

function standardError(onDrop: () => void): DestinationStream {
  const stream = pino.destination({ dest: STDERR, sync: false, maxLength: MOST_WAITING_BYTES });
  stream.on('drop', onDrop);
  return stream;
}

/** `log.info(text)`, `log.info(object, text)`, `log.error(error)` */
function textOf([first, second]: readonly unknown[]): string {
  const text = typeof first === 'string' ? first : typeof second === 'string' ? second : messageOf(first);
  return text.slice(0, KIND_CHARS);
}

function messageOf(value: unknown): string {
  const error = value instanceof Error ? value : (value as { err?: unknown } | null)?.err;
  return error instanceof Error ? error.message : '';
}

function wordsOf(value: unknown): string {
  if (typeof value !== 'object' || value === null || value instanceof Error) return '';
  const words = Object.values(value).filter((one) => typeof one === 'string');
  return words.join(' ').slice(0, KIND_CHARS);
}
