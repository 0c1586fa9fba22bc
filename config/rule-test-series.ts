import type { Parsed } from './quantities.js';
import { parseValue, type QuantityName, type Value } from './rule-test-quantities.js';

/** Values of one subject, evenly spaced; the last one goes on until the end of the test. */
export interface Series {
  subject: string;
  quantity: QuantityName;
  values: Value[];
  everyMs: number;
  fromMs: number;
}

/** Values of all series of a test together: 18 tires of a day, each every ten seconds. */
export const MOST_VALUES = 200_000;
const REPEATED = /^(.*?)\s+x\s?(\d{1,6})$/;
const RAMP = /^(.+?)\s+to\s+(.+)$/;

/** `620 kPa`, `620 kPa x66`, `690 kPa to 600 kPa x10` (evenly, both ends included). At most MOST_VALUES. */
export function parseValues(text: string, quantity: QuantityName, targetKpa: number | null): Parsed<Value[]> {
  const [, repeated, times] = REPEATED.exec(text.trim()) ?? [];
  const count = times === undefined ? 1 : Number(times);
  if (count < 1 || count > MOST_VALUES)
    return { complaint: { text: `x${times} is no number of times`, hint: `write x1 to x${MOST_VALUES}` } };
  const what = repeated ?? text.trim();
  const ramp = RAMP.exec(what);
  if (ramp === null) {
    const one = parseValue(what, quantity, targetKpa);
    return one.complaint === undefined ? { value: new Array<Value>(count).fill(one.value) } : one;
  }
  const [from, to] = [ramp[1]!, ramp[2]!].map((end) => parseValue(end, quantity, targetKpa));
  if (from!.complaint !== undefined) return from!;
  if (to!.complaint !== undefined) return to!;
  const [a, b] = [from!.value, to!.value];
  if (typeof a !== 'number' || typeof b !== 'number' || count < 2) {
    const hint = 'write for example "690 kPa to 600 kPa x10"';
    return { complaint: { text: `"${text}" cannot be told value by value`, hint } };
  }
  return { value: Array.from({ length: count }, (_, i) => a + ((b - a) * i) / (count - 1)) };
}

/** `650 s`, `10 min`, `10:50`, `1:10:50` → ms */
export function parseTime(text: string): number | null {
  const clock = /^(?:(\d{1,4}):)?(\d{1,4}):([0-5]\d)$/.exec(text);
  if (clock !== null) {
    const [h, m, s] = clock.slice(1).map((part) => Number(part ?? 0)) as [number, number, number];
    return (h * 3600 + m * 60 + s) * 1000;
  }
  const [, number, unit] = /^(\d+(?:\.\d+)?)\s*(ms|s|min|h|d)$/.exec(text) ?? [];
  return unit === undefined ? null : Math.round(Number(number) * MS[unit]!);
}

const MS: Record<string, number> = { ms: 1, s: 1000, min: 60_000, h: 3_600_000, d: 86_400_000 };

/** What a series says at t; before its beginning nothing. */
export function valueAt({ values, everyMs, fromMs }: Series, t: number): Value | null {
  if (t < fromMs) return null;
  return values[Math.min(values.length - 1, Math.floor((t - fromMs) / everyMs))]!;
}
