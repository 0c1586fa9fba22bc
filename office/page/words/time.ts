/** Instants and spans as people say them. Times are those of the place where the page is read; nowMs is the office's clock. */

const SECOND = 1000;
const MINUTE = 60 * SECOND;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;

const two = (n: number): string => String(n).padStart(2, '0');

/** "12 s", "4 min", "1 h 05 min", "3 d 4 h"; what lies in the future counts as 0 s. */
export function span(ms: number): string {
  if (ms < MINUTE) return `${Math.max(0, Math.floor(ms / SECOND))} s`;
  if (ms < HOUR) return `${Math.floor(ms / MINUTE)} min`;
  if (ms < DAY) return `${Math.floor(ms / HOUR)} h ${two(Math.floor((ms % HOUR) / MINUTE))} min`;
  return `${Math.floor(ms / DAY)} d ${Math.floor((ms % DAY) / HOUR)} h`;
}

export const ago = (ms: number, nowMs: number): string =>
  nowMs - ms < 5 * SECOND ? 'just now' : `${span(nowMs - ms)} ago`;

/** "14:05". */
export function clock(ms: number): string {
  const at = new Date(ms);
  return `${two(at.getHours())}:${two(at.getMinutes())}`;
}

const DAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];
const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

/** "Mon 2 Mar". */
export function day(ms: number): string {
  const at = new Date(ms);
  return `${DAYS[at.getDay()]} ${at.getDate()} ${MONTHS[at.getMonth()]}`;
}

/** "14:05", and on another day than today "Mon 2 Mar, 14:05". */
export const moment = (ms: number, nowMs: number): string =>
  day(ms) === day(nowMs) ? clock(ms) : `${day(ms)}, ${clock(ms)}`;

/** ISO 8601 to ms. */
export const msOf = (stamp: string): number => Date.parse(stamp);

/** "19 to 33 min": a span of the future that begins and ends some time from now. Under a minute counts as now. */
export function within(fromMs: number, toMs: number, nowMs: number): string {
  const [from, to] = [fromMs - nowMs, toMs - nowMs];
  if (to < MINUTE) return 'now';
  const first = from < MINUTE ? 'now' : shared(from, to);
  const last = span(to);
  return first === 'now' ? `within ${last}` : span(from) === last ? `in ${last}` : `in ${first} to ${last}`;
}

/** The first of two spans, without its unit where both are minutes. */
const shared = (from: number, to: number): string => (to < HOUR ? String(Math.floor(from / MINUTE)) : span(from));
