import type { BoardTruck } from '../../core/board-model.js';
import { heard, isOutOfTouch, motion, position, REACH_WORDS, vehicleAge } from '../words/alerts.js';
import { span } from '../words/time.js';
import { useDesk } from './desk.js';

/** Where the truck is, whether it moves, and how fresh all of that is. */
export function TruckFacts({ truck, isShort = false }: { truck: BoardTruck; isShort?: boolean }) {
  const { nowMs, units } = useDesk();
  const place = position(truck);
  const age = vehicleAge(truck, nowMs);
  return (
    <div class={`facts${isOutOfTouch(truck.reach) ? ' old' : ''}`}>
      <p class="motion">
        <b>{motion(truck, units)}</b>
        {place !== null && !isShort && (
          <>
            {' '}
            at <span class="position">{place}</span>
          </>
        )}
        {age !== '' && !isShort && <span class="age"> ({age})</span>}
      </p>
      <p class="heard">{heard(truck, nowMs)}</p>
      {isOutOfTouch(truck.reach) && (
        <p class="reach">
          <b>{REACH_WORDS[truck.reach].name}</b>: {REACH_WORDS[truck.reach].means}
          {truck.sinceMs !== null && `, ${span(nowMs - truck.sinceMs)}`}
        </p>
      )}
    </div>
  );
}
