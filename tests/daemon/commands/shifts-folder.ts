import { copyFileSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import type { Terminal } from '../../../daemon/commands/console.js';
import { Failure } from '../../../daemon/commands/failure.js';
import { type ShiftsOptions, shiftsCommand } from '../../../daemon/commands/shifts.js';
import { canonical, type Ended, type LampLog, lampLog, TRUCK, temp, text } from './helpers.js';

let folders = 0;

/** A new folder with files of these names. */
export function folderOf(files: Readonly<Record<string, string | Uint8Array>>): string {
  const folder = temp(`shifts-${++folders}`);
  mkdirSync(folder);
  for (const [name, content] of Object.entries(files)) put(folder, name, content);
  return folder;
}

export function put(folder: string, name: string, content: string | Uint8Array): void {
  const path = join(folder, name);
  mkdirSync(join(path, '..'), { recursive: true });
  writeFileSync(path, content);
}

/** A log in which the red lamp is lit, and what comes of it: raised at 0:00:25, cleared at 0:01:10. */
export async function lamp(of: LampLog = {}): Promise<{ log: string; events: string[] }> {
  const log = text(lampLog(of));
  const { out } = await canonical([temp('for-events.log', log)]);
  return { log, events: out.trimEnd().split('\n') };
}

export const withTruck = (folder: string): string => {
  copyFileSync(TRUCK, join(folder, 'truck.yaml'));
  return folder;
};

/** The same event with something else in it. */
export const changed = (line: string, more: object): string => JSON.stringify({ ...JSON.parse(line), ...more });

/** The same as `axlepost shifts …`, in this process. */
export async function shiftsHere(
  named: string[],
  options: ShiftsOptions = {},
  terminal: Omit<Terminal, 'write'> = {},
): Promise<Ended> {
  const out: string[] = [];
  const err: string[] = [];
  const console = {
    out: { ...terminal, write: (piece: string) => out.push(piece) },
    err: { ...terminal, write: (piece: string) => err.push(piece) },
  };
  let code: number;
  try {
    // One thread is enough for most, and sooner there than two.
    code = await shiftsCommand(named, { jobs: '1', ...options }, console);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, out: out.join(''), err: err.join('') };
}

/** What a fleet has after a while. */
export function fleet(log: string, events: readonly string[]): string {
  const packed = gzipSync(log);
  return withTruck(
    folderOf({
      ...{ 'calm.log': log, 'calm.events': text(events) },
      ...{ 'cut.log.gz': packed.subarray(0, packed.length - 30), 'cut.events': text(events) },
      ...{ 'late.log.gz': packed, 'late.events': text([changed(events[0]!, { at: 13_000 }), events[1]!]) },
      ...{ 'less.log': log, 'less.events': text([...events, changed(events[1]!, { change: 'reopened', at: 90_000 })]) },
      'lost.events': text(events),
      'young.log': log,
      'notes.txt': 'not looked at',
    }),
  );
}
