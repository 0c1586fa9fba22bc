import { stat } from 'node:fs/promises';
import { isArchive, type OpenArchive, openArchive } from '../../adapters/archive/unpack.js';
import type { Out } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';

/** Logs with each archive of `pack` replaced by the recordings in it. Its problems go to err. Throws a Failure. */
export async function openArchives(
  logs: readonly string[],
  err: Out,
): Promise<{ logs: string[]; close(): Promise<void> }> {
  const opened: OpenArchive[] = [];
  const close = async (): Promise<void> => {
    for (const archive of opened) await archive.close();
  };
  const paths: string[] = [];
  try {
    for (const log of logs) {
      if (!(await isArchive(log))) {
        paths.push(log);
        continue;
      }
      const archive = await openArchive(log);
      opened.push(archive);
      for (const problem of archive.problems) err.write(`${log}: ${problem}\n`);
      if (archive.recordings.length === 0) throw new Error(`${log}: there are no recordings in it`);
      paths.push(...archive.recordings);
    }
  } catch (error) {
    await close();
    const line = lineOf(error);
    throw new Failure(
      EXIT.failed,
      logs.some((log) => line.startsWith(log)) ? line : `${logs[paths.length]}: ${line}`,
      error,
    );
  }
  return { logs: paths, close };
}

/** As openArchives, for what a command line may name: folders and pipes stay as they are. */
export async function openLogs(logs: readonly string[], err: Out): Promise<{ logs: string[]; close(): Promise<void> }> {
  const opened: { logs: string[]; close(): Promise<void> }[] = [];
  const close = async (): Promise<void> => {
    for (const one of opened) await one.close();
  };
  try {
    for (const log of logs) opened.push((await isFile(log)) ? await openArchives([log], err) : untouched(log));
  } catch (error) {
    await close();
    throw error;
  }
  return { logs: opened.flatMap((one) => one.logs), close };
}

/** A folder or a pipe is no archive, and what was read of a pipe is gone. */
async function isFile(path: string): Promise<boolean> {
  return path !== '-' && (await stat(path).catch(() => null))?.isFile() === true;
}

const untouched = (log: string) => ({ logs: [log], close: async () => {} });
