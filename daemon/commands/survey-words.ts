import type { TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { POSITION_SPNS } from '../j1939/position.js';
import type { IntervalReport, SignalReport } from '../survey/report.js';
import { TIE } from './survey-table.js';

type Show = TruckConfig['show'];

export const count = (n: number): string => n.toLocaleString('en-US');

export function rate(perS: number | null): string {
  if (perS === null) return '';
  return perS >= 10 ? String(Math.round(perS)) : perS >= 0.1 ? perS.toFixed(1) : perS.toFixed(2);
}

const SECOND = 1000;
const MINUTE = 60 * SECOND;

/** From which duration on it is written how. */
const TIMES: readonly [from: number, write: (ms: number) => string, unit: string][] = [
  [10 * MINUTE, (ms) => String(Math.round(ms / MINUTE)), 'min'],
  [100 * SECOND, (ms) => (ms / SECOND).toFixed(1), 's'],
  [10 * SECOND, (ms) => (ms / SECOND).toFixed(2), 's'],
  [0, (ms) => String(Math.round(ms)), 'ms'],
];

const formOf = (ms: number) => TIMES.find(([from]) => ms >= from)!;

/** `12 ms`, `1000 ms`, `10.03 s`, `15 min`. */
export function time(ms: number): string {
  const [, write, unit] = formOf(ms);
  return `${write(ms)} ${unit}`;
}

/** Median, and 5 to 95 % where they differ, in the unit of the median. */
export function interval({ medianMs, fromMs, toMs }: IntervalReport): string {
  if (medianMs === null) return 'once';
  const [, write, unit] = formOf(medianMs);
  const [from, to] = [write(fromMs!), write(toMs!)];
  return `${write(medianMs)} ${from === to ? '' : `(${from} to ${to}) `}${unit}`;
}

/** `once`, `3 times`. */
export const times = (n: number): string => (n === 1 ? 'once' : `${count(n)} times`);

/** Shares never round to 0 or 100 % unless they are. */
export function share(part: number): string {
  const percent = Math.round(part * 100);
  if (percent === 0 && part > 0) return '<1 %';
  if (percent === 100 && part < 1) return '>99 %';
  return `${percent} %`;
}

export function decimal(value: number): string {
  const size = Math.abs(value);
  return String(Number(value.toFixed(size >= 1000 ? 0 : size >= 100 ? 1 : 2)));
}

/** A value in its own unit, or in that which the truck file wants; the two are not parted. */
export const valueWords = (value: number, unit: string, show: Show): string =>
  (unit === 'kPa' || unit === '°C' ? shown(value, unit, show) : `${decimal(value)} ${unit}`.trim()).replace(' ', TIE);

/** `20 to 24, last 22 °C`. */
export function range(
  { last, least, most }: { last: number | null; least: number | null; most: number | null },
  unit: string,
  show: Show,
): string {
  if (last === null || least === null || most === null) return '';
  const [from, to, now] = [least, most, last].map((value) => valueWords(value, unit, show));
  if (from === to) return from!;
  return `${from!.split(TIE)[0]} to ${to!.split(TIE)[0]}, last ${now}`;
}

/** Codes of a state that are told; the rest is counted. */
const CODES = 4;

export function codes(list: readonly { code: number; text: string | null; share: number }[]): string {
  const sorted = [...list].sort((a, b) => b.share - a.share);
  const told = sorted
    .slice(0, CODES)
    .map((one) => `${one.text ?? `code ${one.code}`} ${share(one.share).replace(' ', TIE)}`);
  const more = sorted.length - CODES;
  return [...told, ...(more > 0 ? [`${more} more`] : [])].join(', ');
}

/** A place is told once, and as exactly as the truck file allows: its range says nothing. */
function placeWords({ last, unit }: SignalReport): string {
  return last === null ? 'not shown, as the truck file says' : `last ${last.toFixed(4)} ${unit}`;
}

/** What one signal said, in words. */
export function signalWords(signal: SignalReport, show: Show): string {
  const { spn, good, absent, error, other, unit, text, codes: states } = signal;
  if (text !== null) return text;
  const part = (n: number, what: string): string[] => (n > 0 ? [`${what} ${share(n)}`] : []);
  if (states.length > 0) return codes(states);
  const value = POSITION_SPNS.includes(spn) ? placeWords(signal) : range(signal, unit, show);
  const doubt = signal.plausible ? [] : ['which cannot be true and is not used'];
  const bad = [...doubt, ...part(absent, 'not available'), ...part(error, 'error'), ...part(other, 'reserved')];
  return [...(good > 0 ? [value] : []), ...bad].filter((words) => words !== '').join('; ');
}
