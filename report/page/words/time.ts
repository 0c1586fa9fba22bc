/** Instants and spans as people say them. */

export type Zone = 'utc' | 'local';

const MINUTE_S = 60;
const HOUR_S = 3600;
const DAY_S = 86_400;

const DAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];
const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

const two = (n: number): string => String(n).padStart(2, '0');

/** "12 s", "4 min", "1 h 05 min", "3 d 4 h". */
export function span(s: number): string {
  const whole = Math.max(0, Math.round(s));
  if (whole < 2 * MINUTE_S) return `${whole} s`;
  if (whole < HOUR_S) return `${Math.round(whole / MINUTE_S)} min`;
  if (whole < DAY_S) {
    const minutes = Math.round(whole / MINUTE_S);
    return `${Math.floor(minutes / 60)} h ${two(minutes % 60)} min`;
  }
  const hours = Math.round(whole / HOUR_S);
  return `${Math.floor(hours / 24)} d ${hours % 24} h`;
}

/** Instants of a report, in seconds after its beginning, on the reader's choice of clock. */
export interface Clock {
  zone: Zone;
  /** "UTC", or the name of this computer's zone. */
  name: string;
  /** Seconds that the clock is ahead of UTC when the report begins. */
  offsetS: number;
  fromMs: number;
  /** Does the report reach over a midnight? */
  severalDays: boolean;
  hm: (s: number) => string;
  hms: (s: number) => string;
  /** "Mon 2 Mar 2026". */
  day: (s: number) => string;
  /** "13:05:12"; with its day where the report has more than one. */
  moment: (s: number) => string;
}

/** @param fromMs wall clock @param lengthS of the report */
export function clockOf(fromMs: number, lengthS: number, zone: Zone): Clock {
  const offsetAt = (s: number): number =>
    zone === 'utc' ? 0 : -new Date(fromMs + s * 1000).getTimezoneOffset() * MINUTE_S;
  // Read with the UTC getters after shifting: one way for both clocks.
  const at = (s: number): Date => new Date(fromMs + (s + offsetAt(s)) * 1000);
  const hm = (s: number): string => `${two(at(s).getUTCHours())}:${two(at(s).getUTCMinutes())}`;
  const hms = (s: number): string => `${hm(s)}:${two(at(s).getUTCSeconds())}`;
  const short = (date: Date): string => `${DAYS[date.getUTCDay()]} ${date.getUTCDate()} ${MONTHS[date.getUTCMonth()]}`;
  const day = (s: number): string => `${short(at(s))} ${at(s).getUTCFullYear()}`;
  const severalDays = day(0) !== day(lengthS);
  return {
    zone,
    name: zone === 'utc' ? 'UTC' : (Intl.DateTimeFormat().resolvedOptions().timeZone ?? 'local time'),
    offsetS: offsetAt(0),
    fromMs,
    severalDays,
    hm,
    hms,
    day,
    moment: (s) => (severalDays ? `${short(at(s))}, ${hms(s)}` : hms(s)),
  };
}

/** Steps of a time axis, s. */
const STEPS_S = [
  1,
  2,
  5,
  10,
  15,
  30,
  MINUTE_S,
  2 * MINUTE_S,
  5 * MINUTE_S,
  10 * MINUTE_S,
  15 * MINUTE_S,
  30 * MINUTE_S,
  HOUR_S,
  2 * HOUR_S,
  3 * HOUR_S,
  6 * HOUR_S,
  12 * HOUR_S,
  DAY_S,
  2 * DAY_S,
  7 * DAY_S,
  28 * DAY_S,
];

/** Ticks of a time axis: on round times of the clock, at most so many. */
export function timeTicks(fromS: number, toS: number, most: number, clock: Clock): { stepS: number; at: number[] } {
  const length = Math.max(toS - fromS, 1e-3);
  const stepS = STEPS_S.find((step) => length / step <= most) ?? Math.ceil(length / most / DAY_S) * DAY_S;
  const zeroS = clock.fromMs / 1000 + clock.offsetS;
  const first = Math.ceil((zeroS + fromS) / stepS) * stepS - zeroS;
  const at: number[] = [];
  for (let s = first; s <= toS; s += stepS) at.push(s);
  return { stepS, at };
}

/** What stands at a tick: seconds only where they tell something, days where a step is that long, and at midnight. */
export function tickWords(s: number, stepS: number, clock: Clock): string {
  if (stepS >= DAY_S || (clock.severalDays && clock.hms(s) === '00:00:00'))
    return clock.day(s).split(' ').slice(1, 3).join(' ');
  return stepS < MINUTE_S ? clock.hms(s) : clock.hm(s);
}
