import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll } from 'vitest';
import { Failure } from '../../../daemon/commands/failure.js';
import { replayCommand } from '../../../daemon/commands/replay.js';
import type { ReplayOptions } from '../../../daemon/commands/replay-settings.js';

export const ROOT = fileURLToPath(new URL('../../../', import.meta.url));
export const CLI = join(ROOT, 'dist/axlepost.js');
export const TRUCK = join(ROOT, 'config/examples/T-1042.yaml');
export const SHIFT = join(ROOT, 'replay-logs/morning-run.log.gz');

if (!existsSync(CLI)) throw new Error(`${CLI} is missing: run "npm run build" first`);

const folder = mkdtempSync(join(tmpdir(), 'axlepost-commands-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** A path in this test file's own folder; with content, a file there. */
export function temp(name: string, content?: string | Uint8Array): string {
  const path = join(folder, name);
  if (content !== undefined) writeFileSync(path, content);
  return path;
}

export interface Ended {
  code: number | null;
  out: string;
  err: string;
}

/** Runs the built program as a user does. */
export function axlepost(
  args: string[],
  options: { stdin?: string | Uint8Array; keepStdin?: boolean } = {},
): Promise<Ended> {
  const child = spawn(process.execPath, [CLI, ...args], { stdio: 'pipe', env: { ...process.env, NO_COLOR: '1' } });
  let [out, err] = ['', ''];
  child.stdout.setEncoding('utf8').on('data', (text: string) => {
    out += text;
  });
  child.stderr.setEncoding('utf8').on('data', (text: string) => {
    err += text;
  });
  // A program that has read enough closes the pipe.
  child.stdin.on('error', () => {});
  if (options.stdin !== undefined) child.stdin.write(options.stdin);
  if (options.keepStdin !== true) child.stdin.end();
  return new Promise((resolve) => child.once('close', (code) => resolve({ code, out, err })));
}

/** The same as `axlepost replay …`, in this process: for what does not depend on one. */
export async function replayHere(logs: string[], options: Partial<ReplayOptions> = {}): Promise<Ended> {
  const out: string[] = [];
  const err: string[] = [];
  const console = {
    out: { write: (text: string) => out.push(text) },
    err: { write: (text: string) => err.push(text) },
  };
  let code: number;
  try {
    code = await replayCommand(logs, { config: TRUCK, ...options }, console);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, out: out.join(''), err: err.join('') };
}

/** Its canonical events on stdout. */
export const canonical = (logs: string[], options: Partial<ReplayOptions> = {}): Promise<Ended> =>
  replayHere(logs, { events: '-', format: 'canonical', ...options });

/** 2026-03-02T13:00:00Z */
export const START_S = 1_772_456_400;

export interface LampLog {
  seconds?: number;
  /** The red stop lamp is on from … to, seconds. */
  on?: [from: number, to: number];
  startS?: number;
  iface?: string;
}

/** DM1 (PGN 65226) each 250 ms, engine speed (EEC1, 61444) at 1,000 1/min beside it. */
export function lampLog({ seconds = 100, on = [20, 60], startS = START_S, iface = 'can0' }: LampLog = {}): string[] {
  return Array.from({ length: seconds * 4 }, (_, n) => {
    const s = n / 4;
    const lit = s >= on[0] && s < on[1];
    const stamp = (more: number): string =>
      `(${startS + Math.floor(s)}.${String((n % 4) * 250_000 + more).padStart(6, '0')})`;
    const dm1 = lit ? '10FF64000101FFFF' : '00FF00000000FFFF';
    return [`${stamp(0)} ${iface} 18FECA00#${dm1}`, `${stamp(1000)} ${iface} 0CF00400#F07D7D401F00FFFF`];
  }).flat();
}

export const text = (lines: readonly string[]): string => lines.map((line) => `${line}\n`).join('');

/** `change` of each line of a canonical file, in order. */
export const changes = (ndjson: string): string[] =>
  ndjson
    .split('\n')
    .filter((line) => line !== '')
    .map((line) => (JSON.parse(line) as { change: string }).change);
