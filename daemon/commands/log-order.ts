import { stat } from 'node:fs/promises';
import { basename } from 'node:path';
import { lookAt } from '../../adapters/can/log-look.js';
import { CALENDAR_FROM_MS, type WallMs } from '../time.js';
import type { Out } from './console.js';

/** A log with the time and the interface of its first frame; null where there is none. */
export interface Begun {
  path: string;
  firstMs: WallMs | null;
  link: string | null;
}

/**
 * Logs of one shift in the order of their first frames, whatever order they were named in; says so where it changes
 * something. Logs without calendar time stay as they were named, and so do all where one cannot be read twice (a pipe).
 */
export async function inOrderOfTime(paths: readonly string[], err: Out): Promise<Begun[]> {
  const files = await Promise.all(paths.map((path) => stat(path).catch(() => null)));
  if (!files.every((file) => file?.isFile())) return paths.map((path) => ({ path, firstMs: null, link: null }));
  const begun: Begun[] = [];
  for (const path of paths) {
    const { firstMs, link } = await lookAt(path);
    begun.push({ path, firstMs, link });
  }
  // Stamps that count from the beginning of each log say nothing of which came first.
  if (begun.some(({ firstMs }) => firstMs !== null && firstMs < CALENDAR_FROM_MS)) return begun;
  const sorted = [...begun].sort((a, b) => (a.firstMs ?? Number.MAX_VALUE) - (b.firstMs ?? Number.MAX_VALUE));
  const moved = sorted.some(({ path }, i) => path !== begun[i]!.path);
  if (moved) err.write(`read in the order of time: ${sorted.map(({ path }) => path.split('/').at(-1)).join(', ')}\n`);
  return sorted;
}

/**
 * Logs that begin with different interfaces were recorded side by side, one adapter each: lists of paths, each in the order of time.
 * Otherwise, and where not all of them say it or have calendar time, one list. Says so where it changes something.
 */
export function lanesOf(logs: readonly Begun[], say: (line: string) => void): string[][] {
  const lanes = new Map<string | null, string[]>();
  for (const { path, link } of logs) lanes.set(link, [...(lanes.get(link) ?? []), path]);
  const isKnown = logs.every(({ link, firstMs }) => link !== null && firstMs !== null && firstMs >= CALENDAR_FROM_MS);
  if (!isKnown || lanes.size <= 1) return [logs.map(({ path }) => path)];
  const names = [...lanes].map(([link, paths]) => `${link} (${paths.map((path) => basename(path)).join(', ')})`);
  say(`put together by their stamps: ${names.join('; ')}`);
  return [...lanes.values()];
}
