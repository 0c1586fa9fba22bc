import type { WallMs } from '../../daemon/time.js';
import type { Reach } from './board-model.js';
import type { FleetRules, TruckState } from './model.js';

/** A truck that is awake sends its readings every five minutes: two in a row are missing, and some. */
export const LATE_MS = 12 * 60_000;

/**
 * How a truck is to be reached, and since when; null: not known. listeningMs: since when the office hears trucks at all; null: it does
 * not. While it does not, and until a truck has had its time to speak since, silence says nothing of the truck.
 */
export function reachOf(
  truck: string,
  state: TruckState,
  rules: FleetRules,
  nowMs: WallMs,
  listeningMs: WallMs | null = 0,
): { reach: Reach; sinceMs: WallMs | null } {
  const canTell = listeningMs !== null && nowMs - listeningMs >= LATE_MS;
  const now = connected(state, nowMs, canTell);
  const isAway = now.reach === 'off' || now.reach === 'offline' || now.reach === 'late';
  if (!canTell || !isAway || !isMissed(truck, state, rules, nowMs)) return now;
  return { reach: 'not-heard', sinceMs: state.heardMs };
}

function connected(state: TruckState, nowMs: WallMs, canTell: boolean): { reach: Reach; sinceMs: WallMs | null } {
  const { presence, presenceMs, heardMs, lastState } = state;
  const sinceMs = presence?.since == null ? presenceMs : Date.parse(presence.since);
  if (presence?.state === 'parked' || presence?.state === 'asleep') return { reach: presence.state, sinceMs };
  if (presence?.state === 'offline') {
    return { reach: lastState === 'parked' || lastState === 'asleep' ? 'off' : 'offline', sinceMs };
  }
  // Nothing has ever told how it is: it is as if it were awake, as long as it is heard.
  if (presence === null && heardMs === null) return { reach: 'off', sinceMs: null };
  const lastMs = Math.max(heardMs ?? 0, presenceMs ?? 0);
  return canTell && nowMs - lastMs >= LATE_MS ? { reach: 'late', sinceMs: lastMs } : { reach: 'awake', sinceMs };
}

/** Expected today, due by now, and not heard since midnight where the fleet is. */
function isMissed(truck: string, { heardMs }: TruckState, rules: FleetRules, nowMs: WallMs): boolean {
  const expected = rules.expected.filter((each) => each.truck === truck);
  if (expected.length === 0) return false;
  const now = localTime(nowMs, rules.timeZone);
  if (!expected.some(({ days, byMinute }) => days.includes(now.day) && now.minute >= byMinute)) return false;
  return heardMs === null || localTime(heardMs, rules.timeZone).date !== now.date;
}

/** Making one takes longer than using it a hundred times; fleets have few time zones. The oldest go first. */
const MAX_FORMATS = 64;
const formats = new Map<string, Intl.DateTimeFormat>();

function formatOf(timeZone: string): Intl.DateTimeFormat {
  const known = formats.get(timeZone);
  if (known !== undefined) return known;
  const made = new Intl.DateTimeFormat('en-US', {
    timeZone,
    hourCycle: 'h23',
    weekday: 'short',
    year: 'numeric',
    month: '2-digit',
    day: '2-digit',
    hour: '2-digit',
    minute: '2-digit',
  });
  formats.set(timeZone, made);
  const oldest = formats.keys().next();
  if (formats.size > MAX_FORMATS && !oldest.done) formats.delete(oldest.value);
  return made;
}

const DAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];

/** Day of the week (0 Sunday), minute of the day and date, by the clocks of that place. */
export function localTime(ms: WallMs, timeZone: string): { day: number; minute: number; date: string } {
  const parts = Object.fromEntries(
    formatOf(timeZone)
      .formatToParts(ms)
      .map(({ type, value }) => [type, value]),
  );
  return {
    day: DAYS.indexOf(parts.weekday!),
    minute: Number(parts.hour) * 60 + Number(parts.minute),
    date: `${parts.year}-${parts.month}-${parts.day}`,
  };
}
