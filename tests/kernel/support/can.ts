import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { openSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { run, type Scene, until } from './scene.js';

/** Recordings of real vehicles; CI has them, a workstation may not. */
export const DATA = join(process.env.AXLEPOST_SHARED ?? '../shared', 'data');

/** Who else listens: everything that is on these interfaces, error frames too, as `candump -L` lines. */
export class Listener {
  readonly path: string;
  readonly #end: () => Promise<unknown>;

  private constructor(path: string, end: () => Promise<unknown>) {
    this.path = path;
    this.#end = end;
  }

  /** Resolves when the kernel has its sockets. */
  static async start(scene: Scene, name: string, ...interfaces: string[]): Promise<Listener> {
    const path = scene.path(name);
    const words = ['-L', '-r', '8388608', ...interfaces.map((one) => `${one},0:0,#FFFFFFFF`)];
    const child = spawn('candump', words, { stdio: ['ignore', openSync(path, 'w'), 'inherit'] });
    const ended = once(child, 'close');
    const end = async (): Promise<void> => {
      child.kill('SIGTERM');
      await ended;
    };
    scene.atEnd(end);
    const lists = (): string => readFileSync('/proc/net/can/rcvlist_all', 'utf8');
    await until(() => interfaces.every((one) => new RegExp(`^ +${one} `, 'm').test(lists())));
    return new Listener(path, end);
  }

  async stop(): Promise<string[]> {
    await this.#end();
    return linesOf(readFileSync(this.path, 'utf8'));
  }
}

export const linesOf = (text: string): string[] => text.split('\n').filter((line) => line !== '');

/** `ID#DATA` of log lines. */
export const framesOf = (lines: readonly string[]): string[] => lines.map((line) => line.split(' ')[2]!);

export const interfaceOf = (line: string): string => line.split(' ')[1]!;

/** Sends a log by its stamps, each of its interfaces on another one. */
export async function play(log: string, interfaces: Record<string, string>, ...more: string[]): Promise<void> {
  await run('canplayer', '-I', log, ...more, ...Object.entries(interfaces).map(([from, to]) => `${to}=${from}`));
}

/** A log of the same frame at an even rate. */
export function evenLog(frame: string, count: number, perSecond: number): string {
  const stamp = (n: number): string => (1_700_000_000 + n / perSecond).toFixed(6);
  return Array.from({ length: count }, (_, n) => `(${stamp(n)}) can0 ${frame}\n`).join('');
}

/** Lines of the kernel's list of sockets with filters on an interface. */
export function filterLines(name: string): string[] {
  const list = readFileSync('/proc/net/can/rcvlist_fil', 'utf8');
  return linesOf(list).filter((line) => line.trim().startsWith(`${name} `));
}

/** How many sockets take every frame of an interface. */
export function takeAll(name: string): number {
  const list = readFileSync('/proc/net/can/rcvlist_all', 'utf8');
  return linesOf(list).filter((line) => line.trim().startsWith(`${name} `)).length;
}
