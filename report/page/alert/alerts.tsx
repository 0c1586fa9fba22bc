import { useMemo } from 'preact/hooks';
import { useReader } from '../reader.js';
import { type Told, toldOf } from './order.js';
import { Story } from './story.js';

/** @param shown so many alerts are drawn by now */
export function Alerts({ shown }: { shown: number }) {
  const { data } = useReader();
  const told = useMemo(() => toldOf(data.alerts), [data]);
  // Made once: what is there already is not looked at again when the page grows.
  const stories = useMemo(() => told.map((each) => <Story key={each.alert.id} {...each} level={3} />), [told]);
  return (
    <section id="alerts" aria-labelledby="alerts-title">
      <h2 id="alerts-title">Alerts</h2>
      {told.length === 0 && <p>There was none in this time.</p>}
      {told.length > 0 && (
        <p class="quiet no-print how">
          In every plot: point at it, or use the arrow keys on it, to read values; drag, or press + and −, to zoom;
          double click for the whole. Lines are open where nothing was heard.
        </p>
      )}
      {stories.slice(0, storiesWithin(told, shown))}
    </section>
  );
}

/** How many stories are begun with so many alerts. */
function storiesWithin(told: readonly Told[], shown: number): number {
  let room = shown;
  let count = 0;
  for (const { consequences } of told) {
    if (room <= 0) break;
    room -= 1 + consequences.length;
    count++;
  }
  return count;
}
