import type { ReceivedTrip } from '../../../adapters/mqtt/trip-messages.js';
import { useDesk } from '../board/desk.js';
import { moment, msOf, span } from '../words/time.js';
import { distance, inUnits } from '../words/units.js';

const silentFor = ({ subject, seconds }: { subject: string; seconds: number }): string =>
  `${subject} ${span(seconds * 1000)}`;

/** Trips that have ended, newest first. */
export function Trips({ trips }: { trips: readonly ReceivedTrip[] }) {
  const { nowMs, units } = useDesk();
  if (trips.length === 0) return <p class="nothing">No trip of it has ended yet.</p>;
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls sideways must scroll by keyboard too
    <section class="wide" aria-label="Trips, table" tabIndex={0}>
      <table>
        <thead>
          <tr>
            {['From', 'To', 'Moving', 'Distance', 'Alerts', 'Hottest tire', 'Lowest air', 'Silent sensors'].map(
              (title) => (
                <th key={title} scope="col">
                  {title}
                </th>
              ),
            )}
          </tr>
        </thead>
        <tbody>
          {trips.map((trip) => (
            <tr key={`${trip.store} ${trip.boot} ${trip.trip}`}>
              <td>{moment(msOf(trip.start), nowMs)}</td>
              <td>{moment(msOf(trip.end), nowMs)}</td>
              <td>{trip.movingS === undefined ? '' : span(trip.movingS * 1000)}</td>
              <td>{trip.distanceKm === null ? 'not known' : distance(trip.distanceKm, units)}</td>
              <td>{trip.alerts}</td>
              <td>
                {trip.hottestTire == null
                  ? ''
                  : `${inUnits(trip.hottestTire.celsius, '°C', units)}, ${trip.hottestTire.subject}`}
              </td>
              <td>{lowestAir(trip, units)}</td>
              <td>{trip.silent?.map(silentFor).join('; ')}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

function lowestAir({ lowestAir: air }: ReceivedTrip, units: Parameters<typeof inUnits>[2]): string {
  const known = [air?.primaryKpa, air?.secondaryKpa].filter((kpa) => kpa != null);
  return known.length === 0 ? '' : inUnits(Math.min(...known), 'kPa', units);
}
