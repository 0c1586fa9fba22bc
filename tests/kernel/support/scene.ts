import { execFile } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { awaitedBy } from '../../../daemon/alerts/relations.js';
import { LAYOUT } from '../../support/truck-file.js';

/** Everything that one test file starts, ended in the reverse order of its making. */
export class Scene {
  readonly folder = mkdtempSync(join(tmpdir(), 'axlepost-kernel-'));
  readonly #ends: (() => Promise<unknown> | undefined)[] = [() => void rmSync(this.folder, { recursive: true })];

  atEnd(end: () => Promise<unknown> | undefined): void {
    this.#ends.push(end);
  }

  async end(): Promise<void> {
    for (const end of this.#ends.splice(0).reverse()) await end();
  }

  path(name: string): string {
    return join(this.folder, name);
  }

  write(name: string, text: string): string {
    writeFileSync(this.path(name), text);
    return this.path(name);
  }

  /** A new virtual bus, up. */
  async vcan(name: string): Promise<string> {
    await ip('link', 'add', 'dev', name, 'type', 'vcan');
    this.atEnd(() => ip('link', 'del', 'dev', name).catch(() => ''));
    await ip('link', 'set', name, 'up');
    return name;
  }
}

export async function run(program: string, ...args: string[]): Promise<string> {
  return (await promisify(execFile)(program, args, { maxBuffer: 2 ** 28 })).stdout;
}

export const ip = (...args: string[]): Promise<string> => run('ip', ...args);

/** Looks again and again; the test's own timeout bounds it. */
export async function until<T>(look: () => T | null | undefined | false): Promise<T> {
  for (;;) {
    const found = look();
    if (found !== null && found !== undefined && found !== false) return found;
    await pause(20);
  }
}

export const pause = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

export interface TruckOptions {
  /** Bus name → interface; `more` stands behind the interface. */
  buses: Record<string, string>;
  more?: string;
  rules?: string;
  sections?: string;
}

/** The five-axle combination on the buses of the scene. */
export function truckText(scene: Scene, { buses, more = '', rules = '', sections = '' }: TruckOptions): string {
  const list = Object.entries(buses).map(([name, at]) => `{name: ${name}, interface: ${at}${more}}`);
  return `${LAYOUT.replace(/^buses: .*$/m, `buses: [${list.join(', ')}]`)}store: {path: "${scene.path('truck.db')}"}
recorder: {path: "${scene.path('recordings')}"}
${sections}${rules === '' ? '' : `rules:\n${rules}`}`;
}

/** Rules that fault codes and lamps would wait for after a start, up to 20 s. */
export const NOT_AWAITED = awaitedBy('fault-code')
  .map((rule) => `  ${rule}: {enabled: no}\n`)
  .join('');
