import { problemLine } from '../../adapters/can/problem.js';
import { findSidecar } from '../../adapters/recorder/read.js';
import type { Sidecar } from '../../adapters/recorder/sidecar.js';
import type { Out } from './console.js';
import { type Begun, inOrderOfTime } from './log-order.js';

/** A log of the command line, with what the recorder said of it. */
export interface Log {
  path: string;
  /** Of a log of somebody else. */
  begun: Begun | null;
  /** null: a log of somebody else, or one whose sidecar cannot be used. */
  recorded: Recorded | null;
}

export interface Recorded {
  path: string;
  sidecar: Sidecar;
}

/**
 * Looks for the sidecars of logs, and puts all of them in the order of time: recordings as the recorder counted them, others by
 * their first frames. What is wrong with a sidecar is told, and the log is then one like any other.
 */
export async function findRecorded(paths: readonly string[], err: Out): Promise<Log[]> {
  const recordings: Recorded[] = [];
  const others: string[] = [];
  for (const path of paths) {
    const recorded = path === '-' ? null : await recordedOf(path, err);
    if (recorded === null) others.push(path);
    else recordings.push(recorded);
  }
  recordings.sort((a, b) => inTime(a.sidecar, b.sidecar));
  return merged(withoutDoubles(recordings, err), await inOrderOfTime(others, err));
}

const inTime = (a: Sidecar, b: Sidecar): number => a.start - b.start || a.index - b.index;

/** A stick may have a recording loose and in an archive. */
function withoutDoubles(recordings: readonly Recorded[], err: Out): Recorded[] {
  const known = new Map<string, Recorded>();
  for (const one of recordings) {
    const { start, index, zeroMs, firstT, configuration } = one.sidecar;
    const key = [configuration.truck, start, index, zeroMs, firstT].join();
    const other = known.get(key);
    if (other === undefined) known.set(key, one);
    else err.write(`${one.path}: the same recording as ${other.path}; it is read once\n`);
  }
  return [...known.values()];
}

/** Logs of somebody else go before the first recording that begins after them; each kind keeps its own order. */
function merged(recordings: readonly Recorded[], others: readonly Begun[]): Log[] {
  const logs: Log[] = [];
  const waiting = [...others];
  for (const recorded of recordings) {
    const beginMs = recorded.sidecar.zeroMs + recorded.sidecar.firstT;
    while (waiting.length > 0 && waiting[0]!.firstMs !== null && waiting[0]!.firstMs < beginMs)
      logs.push(other(waiting.shift()!));
    logs.push({ path: recorded.path, begun: null, recorded });
  }
  return [...logs, ...waiting.map(other)];
}

const other = (begun: Begun): Log => ({ path: begun.path, begun, recorded: null });

async function recordedOf(path: string, err: Out): Promise<Recorded | null> {
  const found = await findSidecar(path);
  if (found === null) return null;
  if (found.sidecar !== null) return { path, sidecar: found.sidecar };
  err.write(`${problemLine(found.path, found.problem!)}\n`);
  return null;
}
