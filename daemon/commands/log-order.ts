import { stat } from 'node:fs/promises';
import { lookAt } from '../../adapters/can/log-look.js';
import type { WallMs } from '../time.js';
import type { Out } from './console.js';
import { CALENDAR_FROM_MS } from './replay-start.js';

/** A log and the time of its first frame; null where there is none. */
export interface Begun {
  path: string;
  firstMs: WallMs | null;
}

/**
 * Logs of one shift in the order of their first frames, whatever order they were named in; says so where it changes
 * something. Logs without calendar time stay as they were named, and so do all where one cannot be read twice (a pipe).
 */
export async function inOrderOfTime(paths: readonly string[], err: Out): Promise<Begun[]> {
  const files = await Promise.all(paths.map((path) => stat(path).catch(() => null)));
  if (!files.every((file) => file?.isFile())) return paths.map((path) => ({ path, firstMs: null }));
  const begun: Begun[] = [];
  for (const path of paths) begun.push({ path, firstMs: (await lookAt(path)).firstMs });
  // Stamps that count from the beginning of each log say nothing of which came first.
  if (begun.some(({ firstMs }) => firstMs !== null && firstMs < CALENDAR_FROM_MS)) return begun;
  const sorted = [...begun].sort((a, b) => (a.firstMs ?? Number.MAX_VALUE) - (b.firstMs ?? Number.MAX_VALUE));
  const moved = sorted.some(({ path }, i) => path !== begun[i]!.path);
  if (moved) err.write(`read in the order of time: ${sorted.map(({ path }) => path.split('/').at(-1)).join(', ')}\n`);
  return sorted;
}
