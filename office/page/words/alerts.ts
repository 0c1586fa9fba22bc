import type { Urgency } from '../../../config/resolved.js';
import type { BoardAlert, BoardTruck, Reach } from '../../core/board-model.js';
import { ago, clock, moment, msOf, span, within } from './time.js';
import { speed, type Units } from './units.js';

/** What the driver is to be told. The words stand beside a shape; colour only repeats them. */
export const URGENCY_WORDS: Record<Urgency, { name: string; means: string }> = {
  'pull-over': { name: 'Pull over', means: 'stop as soon as it is safe' },
  'next-stop': { name: 'Next stop', means: 'check at the next safe stop' },
  plan: { name: 'Plan', means: 'go on, repair at the next service' },
};

export const REACH_WORDS: Record<Reach, { name: string; means: string }> = {
  awake: { name: 'awake', means: 'its unit talks' },
  parked: { name: 'parked', means: 'stands, unit on' },
  asleep: { name: 'asleep', means: 'stands, unit asleep' },
  off: { name: 'parked, unit off', means: 'parked, then its unit was switched off: nothing is wrong' },
  offline: { name: 'offline', means: 'the line broke while it was awake' },
  late: { name: 'late', means: 'awake, and nothing was heard for longer than usual' },
  'not-heard': { name: 'not heard', means: 'expected today and not heard' },
};

/** Trucks whose data may be older than what happens to them. */
export const isOutOfTouch = (reach: Reach): boolean => reach === 'offline' || reach === 'late' || reach === 'not-heard';

/** "T-1042 with TR-77". */
export const truckName = (t: Pick<BoardTruck, 'truck' | 'trailer'>): string =>
  t.trailer === null ? t.truck : `${t.truck} with ${t.trailer}`;

/** One line that says it all to someone who does not see the board. */
export const said = (t: BoardTruck, a: BoardAlert): string =>
  `${URGENCY_WORDS[a.urgency].name}: ${truckName(t)}, ${a.place}, ${a.what}`;

/** "80 % of cold pressure in 19 to 33 min, about 14:28". */
export function forecastWords(forecast: NonNullable<BoardAlert['forecast']>, nowMs: number): string {
  const [at, from, to] = [msOf(forecast.at), msOf(forecast.from), msOf(forecast.to)];
  if (to < nowMs) return `${forecast.what} was foreseen for ${moment(at, nowMs)}`;
  return `${forecast.what} ${within(from, to, nowMs)}, about ${clock(at)}`;
}

/** Since when, by the truck's clock, and whether that clock was known to be right. */
export function sinceWords(a: BoardAlert, nowMs: number): string {
  const ms = msOf(a.since);
  return a.synced
    ? `since ${moment(ms, nowMs)}, ${span(nowMs - ms)}`
    : `since about ${moment(ms, nowMs)}: its clock was not set`;
}

/** How sure, beyond the measured value. */
export function doubts(a: BoardAlert): string[] {
  const found: string[] = [];
  if (a.unsure) found.push('unsure: no fresh data of it');
  if (a.chattering) found.push('comes and goes');
  return found;
}

/** Whether it moves, and how fast; of a truck that is out of touch, whether it did when it was last heard. */
export function motion(t: BoardTruck, units: Units): string {
  const kmh = t.vehicle?.speed ?? null;
  const [moves, stands] = isOutOfTouch(t.reach) ? ['last moving', 'last standing'] : ['moves', 'stands'];
  if (t.isMoving === null) return 'not known whether it moves';
  if (!t.isMoving) return stands!;
  return kmh === null ? moves! : `${moves} at ${speed(kmh, units)}`;
}

/** "41.20 N, 96.10 W", as exactly as the fleet lets it out; null where it does not. */
export function position(t: BoardTruck): string | null {
  const { lat = null, lon = null } = t.vehicle ?? {};
  if (lat === null || lon === null) return null;
  return `${degrees(lat)} ${lat < 0 ? 'S' : 'N'}, ${degrees(lon)} ${lon < 0 ? 'W' : 'E'}`;
}

/** To eleven metres: what a driver can be found by. */
const degrees = (value: number): string => `${Math.round(Math.abs(value) * 10_000) / 10_000}°`;

/** How old speed and place are. */
export function vehicleAge(t: BoardTruck, nowMs: number): string {
  if (t.vehicle === null || t.vehicleMs === null) return '';
  return ago(t.vehicleMs - (t.vehicle.age ?? 0) * 1000, nowMs);
}

export const heard = (t: BoardTruck, nowMs: number): string =>
  t.heardMs === null ? 'never heard' : `${isOutOfTouch(t.reach) ? 'last heard' : 'heard'} ${ago(t.heardMs, nowMs)}`;

/** Who has it, or for how long nobody. */
export function holder(a: BoardAlert, nowMs: number): string {
  if (a.snoozed !== null) return `${a.snoozed.who} snoozed it until ${moment(msOf(a.snoozed.until), nowMs)}`;
  if (a.taken !== null) return `${a.taken.who} has it since ${moment(msOf(a.taken.at), nowMs)}`;
  if (a.isTaken && a.asked !== null) return `${a.asked.who} takes it`;
  return `nobody has it, for ${span(nowMs - a.urgentSinceMs)}`;
}

/** What becomes of it if nobody takes it; null: nothing, or it is so already. @param afterMs of its fleet and urgency */
export function untakenWords(a: BoardAlert, afterMs: number | null | undefined, nowMs: number): string | null {
  if (a.isTaken || a.isSnoozed || afterMs == null) return null;
  const leftMs = a.urgentSinceMs + afterMs - nowMs;
  return leftMs > 0 && !a.isUntaken ? `goes out again in ${span(leftMs)}` : 'was not taken in time';
}

const ASKED = { take: 'takes it', snooze: 'snoozes it', resume: 'ends the snooze', close: 'closes it' } as const;

/** A wish that the truck has not confirmed; null: none. */
export function askedWords(a: BoardAlert, nowMs: number): string | null {
  if (a.asked === null) return null;
  const { who, do: what, minutes, askedMs } = a.asked;
  const length = what === 'snooze' && minutes != null ? ` for ${span(minutes * 60_000)}` : '';
  return `${who} ${ASKED[what]}${length}. Sent ${ago(askedMs, nowMs)}; the truck has not confirmed it yet.`;
}

/** "3 pull over, 1 next stop". */
export const counted = (counts: Record<Urgency, number>): string =>
  (['pull-over', 'next-stop', 'plan'] as const)
    .filter((urgency) => counts[urgency] > 0)
    .map((urgency) => `${counts[urgency]} ${URGENCY_WORDS[urgency].name.toLowerCase()}`)
    .join(', ');
