import { stat } from 'node:fs/promises';
import { problemLine } from '../../adapters/can/problem.js';
import { findSidecar, recordingsIn } from '../../adapters/recorder/read.js';
import type { Sidecar } from '../../adapters/recorder/sidecar.js';
import type { Out } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';

/** A log of the command line, with what the recorder said of it. */
export interface Log {
  path: string;
  /** null: a log of somebody else, or one whose sidecar cannot be used. */
  recorded: Recorded | null;
}

export interface Recorded {
  path: string;
  sidecar: Sidecar;
}

/**
 * Looks for the sidecars of logs; a folder stands for all recordings in it. Recordings come in the order of time where all logs
 * are some. What is wrong with a sidecar is told, and the log is then one like any other.
 */
export async function findRecorded(paths: readonly string[], err: Out): Promise<Log[]> {
  const logs: Log[] = [];
  for (const path of (await Promise.all(paths.map(expanded))).flat()) {
    logs.push({ path, recorded: path === '-' ? null : await recordedOf(path, err) });
  }
  if (logs.some(({ recorded }) => recorded === null)) return logs;
  return logs.sort((a, b) => inTime(a.recorded!.sidecar, b.recorded!.sidecar));
}

const inTime = (a: Sidecar, b: Sidecar): number => a.start - b.start || a.index - b.index;

async function expanded(path: string): Promise<string[]> {
  const entry = path === '-' ? null : await stat(path).catch(() => null);
  if (entry?.isDirectory() !== true) return [path];
  const found = await recordingsIn(path).catch((error: unknown) => {
    throw new Failure(EXIT.failed, lineOf(error), error);
  });
  return found.length === 0 ? [path] : found;
}

async function recordedOf(path: string, err: Out): Promise<Recorded | null> {
  const found = await findSidecar(path);
  if (found === null) return null;
  if (found.sidecar !== null) return { path, sidecar: found.sidecar };
  err.write(`${problemLine(found.path, found.problem!)}\n`);
  return null;
}
