import type { WallMs } from '../time.js';

const DAY_MS = 86_400_000;
/** 9999-12-31T23:59:59.999Z; beyond it ISO 8601 needs a longer year. */
const LAST_MS = 253_402_300_799_999;

function padded(value: number, width: number): string {
  return String(value).padStart(width, '0');
}

/**
 * ISO 8601 in UTC with milliseconds, e.g. `2026-03-02T14:03:11.000Z`. Instants outside 1970…9999 are clamped to its ends.
 * The calendar is the proleptic Gregorian one, by eras of 400 years that start in March, so that the leap day comes last.
 */
export function isoTime(wallMs: WallMs): string {
  const ms = Math.min(Math.max(Math.floor(wallMs), 0), LAST_MS);
  const days = Math.floor(ms / DAY_MS);
  const inDay = ms - days * DAY_MS;
  const shifted = days + 719_468; // days from 0000-03-01 to 1970-01-01
  const era = Math.floor(shifted / 146_097);
  const dayOfEra = shifted - era * 146_097;
  const yearOfEra = Math.floor(
    (dayOfEra - Math.floor(dayOfEra / 1460) + Math.floor(dayOfEra / 36_524) - Math.floor(dayOfEra / 146_096)) / 365,
  );
  const dayOfYear = dayOfEra - (365 * yearOfEra + Math.floor(yearOfEra / 4) - Math.floor(yearOfEra / 100));
  const marchMonth = Math.floor((5 * dayOfYear + 2) / 153);
  const day = dayOfYear - Math.floor((153 * marchMonth + 2) / 5) + 1;
  const month = marchMonth < 10 ? marchMonth + 3 : marchMonth - 9;
  const year = yearOfEra + era * 400 + (month <= 2 ? 1 : 0);
  const date = `${padded(year, 4)}-${padded(month, 2)}-${padded(day, 2)}`;
  const hours = Math.floor(inDay / 3_600_000);
  const minutes = Math.floor(inDay / 60_000) % 60;
  const seconds = Math.floor(inDay / 1000) % 60;
  return `${date}T${padded(hours, 2)}:${padded(minutes, 2)}:${padded(seconds, 2)}.${padded(inDay % 1000, 3)}Z`;
}
