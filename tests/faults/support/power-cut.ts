import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import type { Round } from './row.js';
import { OPS } from './shim.js';

/** One change of a disk, as the shim wrote it down. */
export interface Change {
  op: 'write' | 'sync' | 'create' | 'rename' | 'truncate' | 'unlink';
  inode: number;
  /** Of a write its place, of a truncation the new size. */
  offset: number;
  bytes: Buffer;
}

const BY_CODE = new Map(Object.entries(OPS).map(([op, code]) => [code as number, op as Change['op']]));
const HEAD_BYTES = 24;

/** Everything that a process did to its folder, in order. */
export function readTrace(file: string): Change[] {
  const trace = readFileSync(file);
  const changes: Change[] = [];
  for (let at = 0; at < trace.length; ) {
    const length = trace.readUInt32LE(at + 4);
    changes.push({
      op: BY_CODE.get(trace.readUInt32LE(at))!,
      inode: Number(trace.readBigUInt64LE(at + 8)),
      offset: Number(trace.readBigInt64LE(at + 16)),
      bytes: trace.subarray(at + HEAD_BYTES, at + HEAD_BYTES + length),
    });
    at += HEAD_BYTES + length;
  }
  return changes;
}

/** A medium writes so much in one piece: what is larger may be torn there. */
const SECTOR = 512;

/** What lies on the medium of one file, and what was asked of it since its last sync. */
interface Contents {
  durable: Buffer;
  waiting: Change[];
}

/** A change of a folder's names that no sync of the folder has made sure of. */
type NameChange = { folder: string } & ({ set: string; file: Contents } | { clear: string });

/**
 * What a disk may hold after the power went: everything that was synced, and of the rest anything. A write after the last sync of
 * its file may be there, be missing, be torn, and come before an earlier one; a name is sure when its folder was synced.
 */
export class Medium {
  /** By inode, of those in use: a number comes again when its file has gone. */
  readonly #files = new Map<number, Contents>();
  readonly #names = new Map<string, Contents>();
  #waitingNames: NameChange[] = [];
  readonly #folders = new Map<number, string>();

  /** `folders`: inode → path of those that exist from the start. */
  constructor(folders: ReadonlyMap<number, string>) {
    for (const [inode, path] of folders) this.#folders.set(inode, path);
  }

  apply(change: Change): void {
    const { op, inode, bytes } = change;
    if (op === 'write' || op === 'truncate') this.#file(inode).waiting.push(change);
    else if (op === 'sync') this.#sync(inode);
    else if (op === 'create') {
      this.#files.delete(inode);
      this.#name({ folder: dirname(String(bytes)), set: String(bytes), file: this.#file(inode) });
    } else if (op === 'unlink') this.#name({ folder: dirname(String(bytes)), clear: String(bytes) });
    else {
      const [from = '', to = ''] = String(bytes).split('\0');
      this.#name({ folder: dirname(to), set: to, file: this.#file(inode) });
      this.#name({ folder: dirname(from), clear: from });
    }
  }

  /** Writes what is left into another folder: `from` is the watched one, `to` what takes its place. */
  cut(from: string, to: string, round: Round): void {
    rmSync(to, { recursive: true, force: true });
    mkdirSync(to, { recursive: true });
    const names = new Map(this.#names);
    // Names go in order: journaling file systems keep the order of a folder's changes, but not how many of them are kept.
    for (const change of this.#waitingNames.slice(0, round.below(this.#waitingNames.length + 1))) put(names, change);
    for (const [path, file] of names) {
      const target = join(to, path.slice(from.length));
      mkdirSync(dirname(target), { recursive: true });
      writeFileSync(target, left(file, round));
    }
  }

  #file(inode: number): Contents {
    let file = this.#files.get(inode);
    if (file === undefined) {
      file = { durable: Buffer.alloc(0), waiting: [] };
      this.#files.set(inode, file);
    }
    return file;
  }

  #sync(inode: number): void {
    const folder = this.#folders.get(inode);
    if (folder === undefined) {
      const file = this.#file(inode);
      file.durable = file.waiting.reduce(applied, file.durable);
      file.waiting = [];
      return;
    }
    for (const change of this.#waitingNames) if (change.folder === folder) put(this.#names, change);
    this.#waitingNames = this.#waitingNames.filter((change) => change.folder !== folder);
  }

  #name(change: NameChange): void {
    this.#waitingNames.push(change);
  }
}

/** Of what waits each is kept, dropped or torn; a third of the cuts keeps all, another drops all. */
function left({ durable, waiting }: Contents, round: Round): Buffer {
  const mood = round.below(3);
  if (mood === 0) return durable;
  if (mood === 1) return waiting.reduce(applied, durable);
  const some = waiting.filter(() => round.random() < 0.5).map((change) => torn(change, round));
  for (let n = some.length - 1; n > 0; n--) {
    const other = round.below(n + 1);
    [some[n], some[other]] = [some[other]!, some[n]!];
  }
  return some.reduce(applied, durable);
}

function put(names: Map<string, Contents>, change: NameChange): void {
  if ('set' in change) names.set(change.set, change.file);
  else names.delete(change.clear);
}

function applied(before: Buffer, { op, offset, bytes }: Change): Buffer {
  if (op === 'truncate') {
    if (offset <= before.length) return before.subarray(0, offset);
    return Buffer.concat([before, Buffer.alloc(offset - before.length)]);
  }
  const after = Buffer.alloc(Math.max(before.length, offset + bytes.length));
  before.copy(after);
  bytes.copy(after, offset);
  return after;
}

/** Half of the time only some of its sectors. */
function torn(change: Change, round: Round): Change {
  if (change.op !== 'write' || round.random() < 0.5) return change;
  const inFirst = SECTOR - (change.offset % SECTOR);
  const sectors = 1 + Math.ceil(Math.max(0, change.bytes.length - inFirst) / SECTOR);
  const kept = round.below(sectors);
  return { ...change, bytes: change.bytes.subarray(0, kept === 0 ? 0 : inFirst + (kept - 1) * SECTOR) };
}

/** Lines that the process wrote to the file of this name, so that the trace tells what it had announced by then. */
export function announcedIn(changes: readonly Change[], name: string): (string | null)[] {
  const inodes = new Set(
    changes.filter(({ op, bytes }) => op === 'create' && basename(String(bytes)) === name).map(({ inode }) => inode),
  );
  return changes.map(({ op, inode, bytes }) => (op === 'write' && inodes.has(inode) ? String(bytes).trim() : null));
}
