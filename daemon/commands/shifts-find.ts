import type { Dirent } from 'node:fs';
import { readdir, realpath, stat } from 'node:fs/promises';
import { basename, join, relative, resolve } from 'node:path';
import { EXIT, Failure, lineOf } from './failure.js';

/** One shift of a folder of shifts. */
export interface Shift {
  /** The folder that it lies in, as it was named. */
  folder: string;
  /** What its files are called. */
  name: string;
  /** Its name in tables and under --report: `T-1042/morning-run`. No other shift has it. */
  label: string;
  /** A log, an archive or a folder of logs; null: it cannot be run, see problem. */
  log: string | null;
  /** The file of its expected events, there or not. */
  events: string;
  isExpected: boolean;
  /** Its truck file; null: that of the command line, or as recorded. */
  config: string | null;
  /** Why it cannot be run, else null. */
  problem: string | null;
  /** Of its logs, packed or not. */
  bytes: number;
}

export const EXPECTED = '.events';
/** What may stand after the name of a shift. Longer ones first. */
export const LOG_ENDS = [
  '.log.gz',
  '.log',
  '.pcapng.gz',
  '.pcapng',
  '.pcap.gz',
  '.pcap',
  '.tar.gz',
  '.tgz',
  '.tar',
] as const;
const TRUCK_ENDS = ['.yaml', '.yml'] as const;
/** The truck file of all shifts of a folder that have none of their own. */
const TRUCK = 'truck';
/** Limits against a whole disk that is named by mistake. */
const MOST_SHIFTS = 10_000;
const MOST_DEPTH = 5;
/** So many names are told where the right one is looked for. */
const MOST_NAMED = 10;

/**
 * The shifts of the folders, by folder and name. A folder in them is a shift where NAME.events stands beside it, and where it
 * has logs and neither expected events nor truck.yaml; else a folder of shifts of its own. Throws a Failure with exit code 2.
 * @param only names or labels, with * for anything; empty: all
 */
export async function findShifts(folders: readonly string[], only: readonly string[] = []): Promise<Shift[]> {
  const found = new Map<string, Shift>();
  const roots = rootsOf(folders);
  for (const { path, label } of roots) {
    const shifts = await shiftsIn(path);
    if (shifts.length === 0) {
      const remedy = `a shift is a log NAME.log, NAME.log.gz, NAME.pcap … with NAME${EXPECTED} beside it`;
      throw new Failure(EXIT.usage, `${path}: there is no shift in it; ${remedy}`);
    }
    for (const shift of shifts) {
      const within = join(relative(path, shift.folder), shift.name);
      const key = join(await realpath(shift.folder), shift.name);
      // One that was named twice is one shift.
      if (!found.has(key)) found.set(key, { ...shift, label: roots.length === 1 ? within : join(label, within) });
      if (found.size > MOST_SHIFTS) throw new Failure(EXIT.usage, `${path}: more than ${MOST_SHIFTS} shifts`);
    }
  }
  return chosen([...found.values()], only);
}

/** Each with a name of its own, so that no two shifts have the same. */
function rootsOf(folders: readonly string[]): { path: string; label: string }[] {
  const used = new Map<string, number>();
  return folders.map((folder) => {
    const name = basename(resolve(folder));
    const times = (used.get(name) ?? 0) + 1;
    used.set(name, times);
    return { path: join(folder, '.'), label: times === 1 ? name : `${name}-${times}` };
  });
}

function chosen(shifts: Shift[], only: readonly string[]): Shift[] {
  const patterns = only.map((text) => ({ text, pattern: patternOf(text) }));
  const fits = ({ name, label }: Shift, pattern: RegExp): boolean => pattern.test(name) || pattern.test(label);
  for (const { text, pattern } of patterns) {
    if (shifts.some((shift) => fits(shift, pattern))) continue;
    const names = shifts.slice(0, MOST_NAMED).map(({ label }) => label);
    const more = shifts.length > MOST_NAMED ? ` and ${shifts.length - MOST_NAMED} more` : '';
    throw new Failure(EXIT.usage, `--only ${text}: no shift is called so; there are ${names.join(', ')}${more}`);
  }
  if (patterns.length === 0) return shifts;
  return shifts.filter((shift) => patterns.some(({ pattern }) => fits(shift, pattern)));
}

function patternOf(text: string): RegExp {
  const literal = text.split('*').map((part) => part.replace(/[.+?^${}()|[\]\\]/g, '\\$&'));
  return new RegExp(`^${literal.join('.*')}$`);
}

interface Content {
  files: string[];
  folders: string[];
}

/** By name; what systems hide is let be. Links count as what they lead to. Throws a Failure. */
async function contentOf(folder: string): Promise<Content> {
  const content: Content = { files: [], folders: [] };
  let entries: Dirent[];
  try {
    entries = await readdir(folder, { withFileTypes: true });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why: Record<string, string> = {
      ENOENT: 'no such folder',
      ENOTDIR: 'is no folder; one shift alone: axlepost replay LOG --expect FILE',
    };
    throw new Failure(EXIT.usage, `${folder}: ${why[code ?? ''] ?? lineOf(error)}`, error);
  }
  for (const entry of entries.sort((a, b) => (a.name < b.name ? -1 : 1))) {
    if (entry.name.startsWith('.')) continue;
    const isFolder = entry.isSymbolicLink()
      ? (await stat(join(folder, entry.name)).catch(() => null))?.isDirectory() === true
      : entry.isDirectory();
    content[isFolder ? 'folders' : 'files'].push(entry.name);
  }
  return content;
}

async function shiftsIn(folder: string, depth = 1): Promise<Shift[]> {
  const { files, folders } = await contentOf(folder);
  const names = new Set<string>();
  for (const file of files) {
    const name = nameOf(file, [EXPECTED, ...LOG_ENDS]);
    if (name !== null) names.add(name);
  }
  const below: Shift[] = [];
  for (const one of folders) {
    if (files.includes(`${one}${EXPECTED}`)) continue;
    const kind = await kindOf(join(folder, one), depth + 1);
    if (kind === 'recorded') names.add(one);
    else if (kind === 'shifts') below.push(...(await shiftsIn(join(folder, one), depth + 1)));
  }
  const own: Shift[] = [];
  for (const name of [...names].sort()) own.push(await shiftOf(folder, name, files, folders));
  return [...own, ...below];
}

/** Is a folder that has no expected events beside it one of shifts, or of the recordings of one shift? */
async function kindOf(folder: string, depth: number): Promise<'shifts' | 'recorded' | 'neither'> {
  if (depth > MOST_DEPTH) return 'neither';
  const { files, folders } = await contentOf(folder);
  if (files.some((file) => file.endsWith(EXPECTED) || nameOf(file, TRUCK_ENDS) === TRUCK)) return 'shifts';
  const kinds: string[] = [];
  for (const one of folders) kinds.push(await kindOf(join(folder, one), depth + 1));
  if (kinds.includes('shifts')) return 'shifts';
  return kinds.includes('recorded') || files.some((file) => nameOf(file, LOG_ENDS) !== null) ? 'recorded' : 'neither';
}

async function shiftOf(
  folder: string,
  name: string,
  files: readonly string[],
  folders: readonly string[],
): Promise<Shift> {
  const logs = [...LOG_ENDS.map((end) => `${name}${end}`).filter((file) => files.includes(file))];
  if (folders.includes(name)) logs.push(name);
  const yaml = [...TRUCK_ENDS.map((end) => `${name}${end}`), ...TRUCK_ENDS.map((end) => `${TRUCK}${end}`)];
  const truck = yaml.find((file) => files.includes(file));
  const [log] = logs;
  const path = log === undefined ? null : join(folder, log);
  return {
    ...{ folder, name, label: name },
    log: logs.length === 1 ? path : null,
    events: join(folder, `${name}${EXPECTED}`),
    isExpected: files.includes(`${name}${EXPECTED}`),
    config: truck === undefined ? null : join(folder, truck),
    problem: problemOf(name, logs),
    bytes: path === null ? 0 : await bytesOf(path),
  };
}

function problemOf(name: string, logs: readonly string[]): string | null {
  if (logs.length === 1) return null;
  if (logs.length === 0)
    return `there is no log beside ${name}${EXPECTED}; it would be ${name}.log.gz, ${name}.pcapng … or a folder ${name}`;
  return `${logs.join(' and ')} are there; keep one, or put all logs of the shift into a folder ${name}`;
}

/** The name before one of the endings, or null. */
function nameOf(file: string, ends: readonly string[]): string | null {
  const end = ends.find((one) => file.endsWith(one) && file.length > one.length);
  return end === undefined ? null : file.slice(0, -end.length);
}

/** Only to begin with the longest and to show how far it is: what cannot be looked at counts nothing. */
async function bytesOf(path: string, depth = 1): Promise<number> {
  const entry = await stat(path).catch(() => null);
  if (entry?.isDirectory() !== true) return entry?.size ?? 0;
  if (depth > MOST_DEPTH) return 0;
  let bytes = 0;
  for (const name of await readdir(path).catch(() => [])) bytes += await bytesOf(join(path, name), depth + 1);
  return bytes;
}
