import type { ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import { shown } from '../../../config/show.js';

/** What people read; messages are SI. */
export const UNITS = {
  us: { name: 'psi, °F, mph', pressure: 'psi', temperature: '°F' },
  bar: { name: 'bar, °C, km/h', pressure: 'bar', temperature: '°C' },
  kpa: { name: 'kPa, °C, km/h', pressure: 'kPa', temperature: '°C' },
} as const;
export type Units = keyof typeof UNITS;

const KM_PER_MILE = 1.609344;

/** The units where the browser's owner lives, as far as its language tells. */
export const unitsFor = (language: string): Units => (/-(?:US|LR|MM)\b/.test(language) ? 'us' : 'bar');

/** A value in an SI unit, with the unit that people read. */
export const inUnits = (value: number, unit: string, units: Units): string =>
  shown(value, unit, { ...UNITS[units], position: 'exact' });

/** A number for an axis, and its unit. */
export function axis(unit: 'kPa' | '°C', units: Units): { unit: string; of: (value: number) => number } {
  const { pressure, temperature } = UNITS[units];
  if (unit === '°C') return { unit: temperature, of: (c) => (temperature === '°F' ? c * 1.8 + 32 : c) };
  const per = { psi: 6.894757, bar: 100, kPa: 1 }[pressure];
  return { unit: pressure, of: (kpa) => kpa / per };
}

export const speed = (kmh: number, units: Units): string =>
  units === 'us' ? `${Math.round(kmh / KM_PER_MILE)} mph` : `${Math.round(kmh)} km/h`;

export const distance = (km: number, units: Units): string =>
  units === 'us' ? `${Math.round(km / KM_PER_MILE)} mi` : `${Math.round(km)} km`;

type Measured = NonNullable<ReceivedEvent['measured']>;

/** How bad: what was measured, its span, and the limit that it passed. */
export function howBad(measured: Measured | null, units: Units): string {
  if (measured === null) return '';
  if ('silentS' in measured) return `silent for ${silence(measured.silentS)}`;
  if ('code' in measured)
    return measured.of === undefined ? measured.text : `${measured.text}, ${measured.of} applications`;
  const one = (value: number): string => inUnits(value, measured.unit, units);
  const { low, high, limit } = measured;
  const between =
    low === undefined || high === undefined || low === high ? '' : `, between ${one(low)} and ${one(high)}`;
  const against = limit === undefined ? '' : `; limit ${one(limit)}`;
  return `${measured.quantity} ${one(measured.value)}${between}${against}${measured.quality === 'disputed' ? '; senders disagree' : ''}`;
}

const silence = (s: number): string => (s < 120 ? `${Math.round(s)} s` : `${Math.round(s / 60)} min`);
