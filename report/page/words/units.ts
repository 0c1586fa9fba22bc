import { shown } from '../../../config/show.js';
import type { About, AxisUnit } from '../../data.js';

export type Show = About['show'];

const KPA_PER = { kPa: 1, psi: 6.894757, bar: 100 } as const;
const KM_PER_MILE = 1.609344;
const MM_PER_INCH = 25.4;

/** How numbers of one SI unit are read: their unit's name, their value in it, decimals. */
export interface Reading {
  unit: string;
  of: (si: number) => number;
  digits: number;
}

/** Who reads psi measures strokes in inches and drives miles. */
export const isUs = (show: Show): boolean => show.pressure === 'psi';

const plain = (unit: string, digits = 0): Reading => ({ unit, of: (si) => si, digits });

/** The reader's unit of an axis. Codes of a brake stay as they are. */
export function readingOf(unit: AxisUnit, show: Show): Reading {
  switch (unit) {
    case 'kPa': {
      const per = KPA_PER[show.pressure];
      return { unit: show.pressure, of: (kpa) => kpa / per, digits: { kPa: 0, psi: 1, bar: 2 }[show.pressure] };
    }
    case '°C':
      return show.temperature === '°F' ? { unit: '°F', of: (c) => c * 1.8 + 32, digits: 0 } : plain('°C');
    case 'mm':
      return isUs(show) ? { unit: 'in', of: (mm) => mm / MM_PER_INCH, digits: 2 } : plain('mm', 1);
    case 'km/h':
      return isUs(show) ? { unit: 'mph', of: (kmh) => kmh / KM_PER_MILE, digits: 0 } : plain('km/h');
    case 'share':
      return { unit: '%', of: (share) => share * 100, digits: 0 };
    case 'state':
      return plain('');
    case 'rpm':
      return plain('rpm');
  }
}

/** Codes of a stroke sensor, as they are told. */
export const STATE_WORDS = ['ok', 'not acting', 'over-stroke', 'dragging'] as const;

export const stateWords = (code: number): string => STATE_WORDS[code] ?? `code ${code}`;

/** A value with its unit, as precise as a plot can tell. */
export function inUnits(si: number, unit: AxisUnit, show: Show): string {
  if (unit === 'state') return stateWords(Math.round(si));
  const reading = readingOf(unit, show);
  return `${reading.of(si).toFixed(reading.digits)} ${reading.unit}`;
}

/** The same for a table that has the unit in its head; null: nothing was told. */
export const cell = (si: number | null, unit: AxisUnit, show: Show): string => {
  if (si === null) return '–';
  if (unit === 'state') return stateWords(Math.round(si));
  const reading = readingOf(unit, show);
  return reading.of(si).toFixed(reading.digits);
};

/** A rate of falling pressure. */
export const rateInUnits = (kpaPerMin: number, show: Show): string =>
  shown(kpaPerMin, 'kPa/min', { ...show, position: 'exact' });

export const distance = (km: number, show: Show): string =>
  isUs(show) ? `${(km / KM_PER_MILE).toFixed(1)} mi` : `${km.toFixed(1)} km`;
