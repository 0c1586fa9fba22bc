import type { Dirent } from 'node:fs';
import { readdir } from 'node:fs/promises';
import { join, relative } from 'node:path';
import { isArchive } from '../../adapters/archive/unpack.js';
import { lookAt } from '../../adapters/can/log-look.js';
import { LOG_END, parseSegmentName, withoutEnd } from '../../adapters/recorder/names.js';
import { sidecarPath } from '../../adapters/recorder/read.js';
import type { Out } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { count } from './survey-words.js';

/** Limits against a whole disk that is named by mistake. */
const MOST_FILES = 20_000;
const MOST_DEPTH = 4;
/** So many files that are not used are named; the rest are counted. */
const MOST_NAMED = 10;
/** What systems put onto a stick by themselves. */
const SYSTEM = /^(?:\.|System Volume Information$|\$RECYCLE\.BIN$|lost\+found$)/;

export interface FolderContent {
  /** Segments of `run`. */
  recordings: string[];
  /** Archives of `pack`. */
  archives: string[];
  /** Logs of somebody else. */
  logs: string[];
}

/**
 * What of a folder, and of the folders in it, can be replayed. Says in one line what is used and what is not, unless there
 * are only recordings. Throws a Failure when it cannot be read, or has nothing.
 * @param wantsLogs false: logs of somebody else are left out where there are recordings or archives
 */
export async function contentOf(folder: string, wantsLogs: boolean, err: Out): Promise<FolderContent> {
  const files = await filesIn(folder);
  const sidecars = new Set(files.flatMap((file) => (isRecording(file) ? [sidecarPath(file)] : [])));
  const found: FolderContent = { recordings: [], archives: [], logs: [] };
  const unused: string[] = [];
  for (const file of files) {
    if (isRecording(file)) found.recordings.push(file);
    else if (sidecars.has(file)) continue;
    else if (await isArchive(file)) found.archives.push(file);
    else {
      const { firstMs, instead } = await lookAt(file);
      if (firstMs !== null) found.logs.push(file);
      else unused.push(`${relative(folder, file)} (${instead})`);
    }
  }
  if (!wantsLogs && found.recordings.length + found.archives.length > 0) {
    unused.unshift(...found.logs.map((log) => `${relative(folder, log)} (a log without a sidecar: add --config)`));
    found.logs = [];
  }
  tell(folder, found, unused, err);
  return found;
}

function tell(folder: string, { recordings, archives, logs }: FolderContent, unused: string[], err: Out): void {
  const named = unused.slice(0, MOST_NAMED).join(', ');
  const more = unused.length > MOST_NAMED ? `, and ${unused.length - MOST_NAMED} more` : '';
  const rest = unused.length === 0 ? '' : `; not used: ${named}${more}`;
  const parts: [number, string, string][] = [
    [recordings.length, 'recording', 'recordings'],
    [archives.length, 'archive', 'archives'],
    [logs.length, 'log', 'logs'],
  ];
  const used = parts.filter(([n]) => n > 0).map(([n, one, many]) => `${count(n)} ${n === 1 ? one : many}`);
  if (used.length === 0) throw new Failure(EXIT.failed, `${folder}: there is no log in it${rest}`);
  if (archives.length + logs.length + unused.length > 0) err.write(`${folder}: ${used.join(', ')}${rest}\n`);
}

function isRecording(file: string): boolean {
  const name = withoutEnd(file.split('/').at(-1)!, LOG_END);
  return name !== null && parseSegmentName(name) !== null;
}

/** By folder and name. Links and what systems hide are let be. Throws a Failure. */
export async function filesIn(folder: string): Promise<string[]> {
  const files: string[] = [];
  const walk = async (where: string, depth: number): Promise<void> => {
    const entries: Dirent[] = await readdir(where, { withFileTypes: true });
    entries.sort((a, b) => (a.name < b.name ? -1 : 1));
    for (const entry of entries) {
      if (SYSTEM.test(entry.name)) continue;
      const path = join(where, entry.name);
      if (entry.isDirectory() && depth < MOST_DEPTH) await walk(path, depth + 1);
      else if (entry.isFile()) files.push(path);
      if (files.length > MOST_FILES)
        throw new Failure(EXIT.failed, `${folder}: more than ${MOST_FILES} files; name the folder that has the logs`);
    }
  };
  try {
    await walk(folder, 1);
  } catch (error) {
    throw error instanceof Failure ? error : new Failure(EXIT.failed, `${folder}: ${lineOf(error)}`, error);
  }
  return files;
}
