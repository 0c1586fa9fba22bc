import type { BoardTruck, Reach } from '../../core/board-model.js';
import { heard, REACH_WORDS } from '../words/alerts.js';
import { moment } from '../words/time.js';
import { useDesk } from './desk.js';
import { nameOf } from './groups.js';

const REACHES: Reach[] = ['awake', 'parked', 'asleep', 'off', 'late', 'offline', 'not-heard'];

/** How many trucks can be reached and how; all of them, also those that have nothing to tell. */
export const ReachCounts = ({ counts }: { counts: Record<Reach, number> }) => (
  <dl class="reach-counts">
    {REACHES.filter((reach) => counts[reach] > 0).map((reach) => (
      <div key={reach}>
        <dt>{REACH_WORDS[reach].name}</dt>
        <dd>{counts[reach]}</dd>
      </div>
    ))}
  </dl>
);

/** Trucks that cannot be reached as they should. */
export function OutOfTouch({ trucks }: { trucks: BoardTruck[] }) {
  const { nowMs } = useDesk();
  return (
    <ul class="lines">
      {trucks.map((truck) => (
        <li key={nameOf(truck)}>
          <a href={`#/trucks/${nameOf(truck)}`} class="truck-name">
            {truck.truck}
          </a>{' '}
          <b>{REACH_WORDS[truck.reach].name}</b>: {REACH_WORDS[truck.reach].means}
          {truck.sinceMs !== null && `, since ${moment(truck.sinceMs, nowMs)}`}; {heard(truck, nowMs)}
          {truck.alerts.length > 0 && `; ${truck.alerts.length} open ${truck.alerts.length === 1 ? 'alert' : 'alerts'}`}
        </li>
      ))}
    </ul>
  );
}

/** Units that do not work as they should. */
export const Sick = ({ trucks }: { trucks: BoardTruck[] }) => (
  <ul class="lines">
    {trucks.map((truck) => (
      <li key={nameOf(truck)}>
        <a href={`#/trucks/${nameOf(truck)}`} class="truck-name">
          {truck.truck}
        </a>{' '}
        <b>unit is sick</b>: {truck.sick.join('; ')}
      </li>
    ))}
  </ul>
);
