import { spawnSync } from 'node:child_process';
import { closeSync, constants as fs, mkdtempSync, openSync, readSync, rmSync, writeSync } from 'node:fs';
import { constants, tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

/** What is asked of the kernel. `open`: a file that is there, for writing; `send`: an MQTT PUBLISH on its way; `receive`: a PUBACK that has come. */
export const OPS = {
  write: 1,
  sync: 2,
  open: 4,
  rename: 8,
  truncate: 16,
  unlink: 32,
  send: 64,
  receive: 128,
  read: 256,
  create: 512,
} as const;
export type Op = keyof typeof OPS;

const ACTIONS = { nothing: 0, 'fail-once': 1, 'fail-from': 2, 'kill-before': 3, 'kill-after': 4 } as const;
export type Action = keyof typeof ACTIONS;

/** What the shim is to do at the n-th of these operations. */
export interface Order {
  ops: Op[];
  action: Action;
  nth: number;
  error?: keyof typeof constants.errno;
  /** What the file's path must end with. */
  name?: string;
}

/** As struct control in shim.c: ops, action, nth, error, seen, failed, name. */
const ACTION_AT = 4;
const SEEN_AT = 16;
const NAME_AT = 32;
const NAME_BYTES = 96;
const CONTROL_BYTES = NAME_AT + NAME_BYTES;

const source = fileURLToPath(new URL('shim.c', import.meta.url));

/** Why the shim cannot be used on this machine; null when it can. */
export function shimIsMissing(): string | null {
  if (process.platform !== 'linux') return 'LD_PRELOAD needs Linux';
  return spawnSync('cc', ['--version'], { stdio: 'ignore' }).error === undefined ? null : 'no C compiler (cc)';
}

/** The shim, compiled, with its own control block. One process at a time. */
export class Shim {
  readonly folder = mkdtempSync(join(tmpdir(), 'axlepost-shim-'));
  readonly controlFile = join(this.folder, 'control');
  readonly traceFile = join(this.folder, 'trace');
  readonly #library = join(this.folder, 'shim.so');

  constructor() {
    const flags = ['-shared', '-fPIC', '-O1', '-Wall', '-Werror', '-o', this.#library, source, '-ldl', '-pthread'];
    const { status, stderr } = spawnSync('cc', flags, { encoding: 'utf8' });
    if (status !== 0) throw new Error(stderr);
    this.order(null);
  }

  /** For a process that is to run with it. `watched`: the folder whose files are meant. */
  env(watched: string, { traced = false } = {}): NodeJS.ProcessEnv {
    return {
      LD_PRELOAD: this.#library,
      AXLEPOST_SHIM_FOLDER: watched,
      AXLEPOST_SHIM_CONTROL: this.controlFile,
      ...(traced ? { AXLEPOST_SHIM_TRACE: this.traceFile } : {}),
    };
  }

  /** In force at once, also for a process that runs. null: all goes well again. */
  order(order: Order | null): void {
    writeControl(this.controlFile, order);
  }

  /** How many operations of the order have been seen, and how many of them failed. */
  counts(): { seen: number; failed: number } {
    const bytes = Buffer.alloc(8);
    const file = openSync(this.controlFile, 'r');
    readSync(file, bytes, 0, 8, SEEN_AT);
    closeSync(file);
    return { seen: bytes.readInt32LE(0), failed: bytes.readInt32LE(4) };
  }

  remove(): void {
    rmSync(this.folder, { recursive: true, force: true });
  }
}

/** The control block. */
export function orderBytes(order: Order | null): Buffer {
  const bytes = Buffer.alloc(CONTROL_BYTES);
  if (order !== null) {
    bytes.writeInt32LE(
      order.ops.reduce((all, op) => all | OPS[op], 0),
      0,
    );
    bytes.writeInt32LE(ACTIONS[order.action], ACTION_AT);
    bytes.writeInt32LE(order.nth, 8);
    bytes.writeInt32LE(order.error === undefined ? 0 : constants.errno[order.error], 12);
    bytes.write(order.name ?? '', NAME_AT, NAME_BYTES - 1);
  }
  return bytes;
}

/** In place: the process has the file mapped. The action is written last. */
function writeControl(path: string, order: Order | null): void {
  const bytes = orderBytes(order);
  const action = Buffer.from(bytes.subarray(ACTION_AT, ACTION_AT + 4));
  bytes.fill(0, ACTION_AT, ACTION_AT + 4);
  const file = openSync(path, fs.O_RDWR | fs.O_CREAT);
  writeSync(file, bytes, 0, CONTROL_BYTES, 0);
  writeSync(file, action, 0, 4, ACTION_AT);
  closeSync(file);
}
