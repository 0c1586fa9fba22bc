import { execFileSync, spawnSync } from 'node:child_process';

const isThere = spawnSync('python3', ['--version']).status === 0;
const isNeeded = process.env.CI === 'true';
if (!isThere && !isNeeded) console.warn('skipped: python3 is not installed; CI needs it');

/** Python's own libraries are the second opinion here. */
export const withoutPython = !isThere && !isNeeded;

/** Runs a program with JSON as its input and gives what it prints, read as JSON. */
export function python(program: string, input: unknown): unknown {
  const out = execFileSync('python3', ['-c', program], { input: JSON.stringify(input), encoding: 'utf8' });
  return JSON.parse(out);
}
