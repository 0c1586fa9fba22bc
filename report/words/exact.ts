import type { TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';

type Show = TruckConfig['show'];

const KPA_PER_PSI = 6.894757;
/** Below these a pressure is told to a tenth: limits on what a tire loses lie a psi apart. */
const SMALL_PSI = 10;
const SMALL_BAR_KPA = 100;
const F_PER_C = 1.8;
const DAY_S = 86_400;

/** At most so many decimals, and none that say nothing. */
const plain = (value: number, decimals: number): string => String(Number(value.toFixed(decimals)));

/**
 * A limit in the units of the truck file. As `shown`, and as fine as limits are: 19.9 % is not 20 %. Besides the units of
 * `shown` it knows `Δ°C` for differences and `s` for durations.
 */
export function exact(value: number, unit: string, show: Show): string {
  switch (unit) {
    case 'kPa':
      return pressure(value, show);
    case 'share':
      return `${plain(100 * value, 1)} %`;
    case 'mm':
      return show.pressure === 'psi' ? shown(value, unit, show) : `${plain(value, 2)} mm`;
    case 'kPa/min':
    case 'kPa/day':
      // As coarse as everywhere else: a limit must not look like another one in the next sentence.
      return shown(value, unit, show).replace(/\.0+ /, ' ');
    case 'Δ°C':
      return show.temperature === '°F' ? `${plain(F_PER_C * value, 0)} °F` : `${plain(value, 1)} °C`;
    case 's':
      return lasting(value);
    default:
      return shown(value, unit, show);
  }
}

function pressure(kpa: number, show: Show): string {
  if (show.pressure === 'psi' && Math.abs(kpa) < SMALL_PSI * KPA_PER_PSI) return `${plain(kpa / KPA_PER_PSI, 1)} psi`;
  if (show.pressure === 'bar' && Math.abs(kpa) < SMALL_BAR_KPA) return `${plain(kpa / 100, 2)} bar`;
  return show.pressure === 'kPa' ? `${plain(kpa, 1)} kPa` : shown(kpa, 'kPa', show);
}

/** A duration as people say it: 20 s, 90 s, 10 min, 90 min, 3 h, 14 days. */
export function lasting(seconds: number): string {
  if (seconds >= 2 * DAY_S) return `${plain(seconds / DAY_S, 1)} days`;
  if (seconds >= 7200) return `${plain(seconds / 3600, 1)} h`;
  return seconds >= 120 ? `${plain(seconds / 60, 1)} min` : `${plain(seconds, 1)} s`;
}

/** The end of a constant's name says its unit; longest first. */
const ENDS: readonly [RegExp, unit: string, by?: number][] = [
  [/KpaPerMin$/, 'kPa/min'],
  [/Kpa$/, 'kPa'],
  [/Share$/, 'share'],
  [/Mm$/, 'mm'],
  [/Hours$/, 's', 3600],
  [/S$/, 's'],
  [/C$/, '°C'],
];

/** A constant of a rule in the units of the truck file. */
export function exactConstant(name: string, value: number, show: Show): string {
  const end = ENDS.find(([pattern]) => pattern.test(name));
  return end === undefined ? plain(value, 2) : exact(value * (end[2] ?? 1), end[1], show);
}
