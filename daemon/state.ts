import { NEVER, type StreamMs } from './time.js';

/**
 * The pipeline's whole state is one tree of plain data. Instants of stream time (numbers or arrays of numbers) are
 * called `at` or have names that end in `At`; everything else is a value or a duration. A snapshot holds no instants: each
 * `…At` is written as its age, so that it can be taken up by a run whose stream time starts elsewhere.
 */
export type Plain = null | boolean | number | string | Plain[] | { [key: string]: Plain };

const isInstant = (key: string): boolean => key === 'at' || key.endsWith('At');

function convert(value: unknown, instant: boolean, change: (n: number) => number | null): Plain {
  if (typeof value === 'number') return instant ? change(value) : value;
  if (Array.isArray(value)) return value.map((v) => convert(v, instant, change));
  if (value !== null && typeof value === 'object') {
    const out: { [key: string]: Plain } = {};
    for (const [key, v] of Object.entries(value)) {
      if (v !== undefined) out[key] = v === null && isInstant(key) ? change(NaN) : convert(v, isInstant(key), change);
    }
    return out;
  }
  return value as Plain;
}

/** A copy of the state in which instants are ages before t (milliseconds); null: never. */
export function snapshot(state: unknown, t: StreamMs): Plain {
  return convert(state, false, (at) => (at <= NEVER ? null : t - at));
}

/** The state back from a snapshot: ages become instants before t. */
export function revive(plain: Plain, t: StreamMs): Plain {
  return convert(plain, false, (ago) => (Number.isNaN(ago) ? NEVER : t - ago));
}

/**
 * Copies what `saved` has into `fresh`, key by key, as far as the shapes agree; keeps what `fresh` has where they do not.
 * An empty object in `fresh` is a dictionary and takes all.
 */
export function adopt<T extends object>(fresh: T, saved: unknown): T {
  if (saved === null || typeof saved !== 'object') return fresh;
  const from = saved as Record<string, unknown>;
  const to = fresh as Record<string, unknown>;
  const keys = Object.keys(to);
  if (keys.length === 0 && !Array.isArray(saved)) return Object.assign(fresh, saved);
  for (const key of keys) {
    const mine = to[key];
    const theirs = from[key];
    if (theirs === undefined) continue;
    if (Array.isArray(mine)) {
      if (Array.isArray(theirs)) to[key] = theirs;
    } else if (mine !== null && typeof mine === 'object') {
      adopt(mine, theirs);
    } else if (mine === null || typeof mine === typeof theirs) {
      to[key] = theirs;
    }
  }
  return fresh;
}
