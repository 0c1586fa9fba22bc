import { spawn } from 'node:child_process';
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';

export interface Measured {
  seconds: number;
  peakMb: number;
}

/** GNU time tells the peak; without it python3 asks the same system call. */
const GNU_TIME = '/usr/bin/time';
const PYTHON_TIME = `
import resource, subprocess, sys
code = subprocess.call(sys.argv[2:])
open(sys.argv[1], 'w').write(str(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss))
sys.exit(code)`;

/**
 * Runs a program to its end: wall time of the whole process and its peak of resident memory.
 * Rejects with the last line of its stderr when it fails.
 */
export async function measure(folder: string, command: readonly string[]): Promise<Measured> {
  const peakFile = join(folder, 'peak');
  const wrapped = existsSync(GNU_TIME)
    ? [GNU_TIME, '-f', '%M', '-o', peakFile, ...command]
    : ['python3', '-c', PYTHON_TIME, peakFile, ...command];
  const start = process.hrtime.bigint();
  const child = spawn(wrapped[0]!, wrapped.slice(1), { stdio: ['ignore', 'ignore', 'pipe'] });
  let words = '';
  child.stderr.on('data', (chunk) => {
    words = (words + chunk).slice(-4096);
  });
  const status = await new Promise<number | null>((resolve, reject) => {
    child.on('error', reject);
    child.on('close', resolve);
  });
  const seconds = Number(process.hrtime.bigint() - start) / 1e9;
  if (status !== 0) throw new Error(words.trim().split('\n').at(-1) || `exit code ${status}`);
  const peakKb = Number(readFileSync(peakFile, 'utf8').trim().split('\n').at(-1));
  rmSync(peakFile);
  return { seconds, peakMb: (peakKb * 1024) / 1e6 };
}

export function median(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2;
}
