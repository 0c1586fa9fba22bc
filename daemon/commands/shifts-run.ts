import type { Console } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { replayLogs } from './replay.js';

/** One shift to replay: plain data, as it goes to another thread. */
export interface Job {
  /** Logs, archives and folders, as `replay` takes them. */
  logs: string[];
  /** Truck file; null: as recorded. */
  config: string | null;
  /** A new HTML file, or null. */
  report: string | null;
}

/** What came of it. Plain data. */
export interface Ran {
  /** Canonical lines. */
  events: readonly string[];
  /** Every log was read to its end. */
  whole: boolean;
  /** What the replay said of logs and truck file, one line each. */
  warnings: string[];
  /** A report was asked for, and was written. */
  reported: boolean;
  /** Why it could not be run, else null. */
  failure: string | null;
  seconds: number;
}

const LOOK_AGAIN_MS = 100;

/** Replays one shift as `replay` does. Never rejects: what goes wrong is this shift's alone. @param onShare 0…1, now and then */
export async function runShift({ logs, config, report }: Job, onShare: (share: number) => void): Promise<Ran> {
  const began = performance.now();
  let told = began;
  const said: string[] = [];
  const console: Console = {
    out: { write: () => true },
    err: { write: (text) => said.push(text) },
    onProgress: (share) => {
      const now = performance.now();
      if (share === null || now - told < LOOK_AGAIN_MS) return;
      told = now;
      onShare(share);
    },
  };
  const ended = (more: Pick<Ran, 'events' | 'whole' | 'failure'>): Ran => {
    const lines = said.join('').split('\n');
    const isReport = (line: string): boolean => report !== null && line.startsWith(`${report}: `);
    return {
      ...more,
      warnings: lines.filter((line) => line !== '' && !isReport(line)),
      reported: lines.some(isReport),
      seconds: (performance.now() - began) / 1000,
    };
  };
  try {
    const options = { collect: true, ...(config !== null && { config }), ...(report !== null && { report }) };
    const { code, canonical: events } = await replayLogs(logs, options, console);
    return ended({ events, whole: code === EXIT.done, failure: null });
  } catch (error) {
    // A mistake of ours is told with its place.
    const failure = error instanceof Failure ? error.message : ((error as Error)?.stack ?? lineOf(error));
    return ended({ events: [], whole: false, failure });
  }
}
