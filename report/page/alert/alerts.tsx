import { useMemo } from 'preact/hooks';
import { useReader } from '../reader.js';
import { toldOf } from './order.js';
import { Story } from './story.js';

/** @param shown so many alerts are drawn by now */
export function Alerts({ shown }: { shown: number }) {
  const { data } = useReader();
  const told = useMemo(() => toldOf(data.alerts), [data]);
  let room = shown;
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
      {told.map(({ alert, consequences, hasUntoldCause }) => {
        const isDrawn = room > 0;
        room -= 1 + consequences.length;
        return (
          isDrawn && (
            <Story key={alert.id} alert={alert} consequences={consequences} hasUntoldCause={hasUntoldCause} level={3} />
          )
        );
      })}
    </section>
  );
}
