import type { TruckConfig } from './resolved.js';

/** Factors from SI for what people read. Messages and files stay SI. */
const KPA_PER_PSI = 6.894757;
const KPA_PER_BAR = 100;
const MM_PER_INCH = 25.4;

type Show = TruckConfig['show'];

function pressure(kpa: number, show: Show): string {
  if (show.pressure === 'psi') return `${Math.round(kpa / KPA_PER_PSI)} psi`;
  if (show.pressure === 'bar') return `${(kpa / KPA_PER_BAR).toFixed(1)} bar`;
  return `${Math.round(kpa)} kPa`;
}

function rate(kpa: number, per: string, show: Show): string {
  if (show.pressure === 'psi') return `${(kpa / KPA_PER_PSI).toFixed(1)} psi/${per}`;
  if (show.pressure === 'bar') return `${(kpa / KPA_PER_BAR).toFixed(2)} bar/${per}`;
  return `${kpa.toFixed(1)} kPa/${per}`;
}

/** Who reads psi measures strokes in inches. Finer than a sixteenth, as strokes come in tenths of a millimetre. */
const length = (mm: number, show: Show): string =>
  show.pressure === 'psi' ? `${(mm / MM_PER_INCH).toFixed(2)} in` : `${mm.toFixed(1)} mm`;

const growth = (mmPerDay: number, show: Show): string =>
  show.pressure === 'psi' ? `${(mmPerDay / MM_PER_INCH).toFixed(3)} in/day` : `${mmPerDay.toFixed(2)} mm/day`;

/** A measured value in the units that the truck file asks for. `unit` is the SI unit that it is in. */
export function shown(value: number, unit: string, show: Show): string {
  switch (unit) {
    case 'kPa':
      return pressure(value, show);
    case 'kPa/min':
      return rate(value, 'min', show);
    case 'kPa/day':
      return rate(value, 'day', show);
    case 'mm':
      return length(value, show);
    case 'mm/day':
      return growth(value, show);
    case '°C':
      return show.temperature === '°F' ? `${Math.round(value * 1.8 + 32)} °F` : `${Math.round(value)} °C`;
    case 'share':
      return `${Math.round(value * 100)} %`;
    default:
      return `${Math.round(value * 10) / 10} ${unit}`;
  }
}
