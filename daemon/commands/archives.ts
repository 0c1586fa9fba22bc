import { stat } from 'node:fs/promises';
import { isArchive, type OpenArchive, openArchive } from '../../adapters/archive/unpack.js';
import type { Out } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { contentOf } from './folder.js';

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

export interface OpenLogs {
  logs: string[];
  close(): Promise<void>;
}

/**
 * What a command line may name: logs, archives of `pack`, folders with either, `-`. Folders and archives are replaced by what is
 * in them. Throws a Failure.
 * @param wantsLogs false: of a folder that has recordings of `run`, only these
 */
export async function openLogs(logs: readonly string[], err: Out, wantsLogs = true): Promise<OpenLogs> {
  const opened: OpenLogs[] = [];
  const close = async (): Promise<void> => {
    for (const one of opened) await one.close();
  };
  try {
    for (const log of logs) opened.push(await openLog(log, err, wantsLogs));
  } catch (error) {
    await close();
    throw error;
  }
  return { logs: opened.flatMap((one) => one.logs), close };
}

async function openLog(path: string, err: Out, wantsLogs: boolean): Promise<OpenLogs> {
  const entry = path === '-' ? null : await stat(path).catch(() => null);
  // A pipe is no archive, and what was read of it is gone.
  if (entry?.isFile() === true) return await openArchives([path], err);
  if (entry?.isDirectory() !== true) return { logs: [path], close: async () => {} };
  const { recordings, archives, logs } = await contentOf(path, wantsLogs, err);
  const opened = await openArchives(archives, err);
  return { logs: [...recordings, ...opened.logs, ...logs], close: opened.close };
}
