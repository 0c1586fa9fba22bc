import type { Line } from '../../../../report/data.js';

/** Values that look like a sensor's: steps of 4 kPa, a slow drift, the same in each run. */

export interface WaveOptions {
  label: string;
  role: Line['role'];
  axis?: 0 | 1;
  fromS: number;
  toS: number;
  stepS: number;
  value: (s: number) => number;
  gapS?: number;
  /** Nothing was heard in between. */
  holes?: [fromS: number, toS: number][];
  /** Half of the span that each point stands for; left out: each point is one reading. */
  spread?: number;
}

/** A pseudo-random number in 0 … 1 that only depends on its arguments. */
export function noise(seed: number, n: number): number {
  const x = Math.sin(seed * 127.1 + n * 311.7) * 43_758.5453;
  return x - Math.floor(x);
}

const rounded = (value: number): number => Math.round(value * 10) / 10;

export function wave(options: WaveOptions): Line {
  const { label, role, axis = 0, fromS, toS, stepS, value, gapS = stepS * 3, holes = [], spread } = options;
  const s: number[] = [];
  for (let at = fromS; at <= toS; at += stepS) {
    if (!holes.some(([from, to]) => at > from && at < to)) s.push(rounded(at));
  }
  const v = s.map((at) => rounded(value(at)));
  return {
    label,
    role,
    axis,
    s,
    v,
    ...(spread !== undefined && {
      low: v.map((x, i) => rounded(x - spread * noise(1, i))),
      high: v.map((x, i) => rounded(x + spread * noise(2, i))),
    }),
    gapS,
  };
}
