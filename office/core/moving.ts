import type { WallMs } from '../../daemon/time.js';
import type { TruckState } from './model.js';

/** Slower than this a truck stands, as for the end of its trips. */
const STANDING_KMH = 5;
/** What an event said of the speed holds so long. */
const SPEED_MS = 15 * 60_000;

/** Whether it moves, as far as the office knows; null: it does not. */
export function isMoving(state: Pick<TruckState, 'presence' | 'lastState' | 'vehicle'>, nowMs: WallMs): boolean | null {
  const { presence, lastState, vehicle } = state;
  if (presence?.state === 'parked' || presence?.state === 'asleep') return false;
  if (presence?.state === 'offline' && (lastState === 'parked' || lastState === 'asleep')) return false;
  if (vehicle === null || vehicle.value.speed === null || presence?.state === 'offline') return null;
  return nowMs - vehicle.ms - (vehicle.value.age ?? 0) * 1000 > SPEED_MS ? null : vehicle.value.speed >= STANDING_KMH;
}

export const isStanding = (state: TruckState, nowMs: WallMs): boolean => isMoving(state, nowMs) === false;
