import { holder } from '../words/alerts.js';
import { howBad } from '../words/units.js';
import { useDesk } from './desk.js';
import { UrgencyTag } from './glyph.js';
import { type Flood, floodWords, nameOf } from './groups.js';
import { controlId, rowIdOf } from './kept-focus.js';
import { TruckFacts } from './truck-facts.js';

/** All that one truck has to plan, in one line; each of it below. */
export function FloodRow({ flood }: { flood: Flood }) {
  const desk = useDesk();
  const { truck, alerts } = flood;
  const row = rowIdOf(truck, 'flood');
  const take = (alert: string): void => void desk.wish(truck, { alert, do: 'take', note: null, minutes: null });
  return (
    <li>
      <article class="case small flood plan" id={row} aria-labelledby={controlId(row, 'title')}>
        <div class="case-urgency">
          <UrgencyTag urgency="plan" />
        </div>
        <div class="case-what">
          <h3 id={controlId(row, 'title')}>
            <a id={controlId(row, 'name')} href={`#/trucks/${nameOf(truck)}`} class="truck-name">
              {truck.truck}
            </a>
            {truck.trailer !== null && <span class="trailer"> with {truck.trailer}</span>}
            <span class="place">
              <b>{alerts.length} things to plan</b>: {floodWords(alerts)}
            </span>
          </h3>
          <details>
            <summary id={controlId(row, 'each')}>Each of them</summary>
            <ul class="each">
              {alerts.map((alert) => (
                <li key={alert.id}>
                  <span>
                    {alert.place}: {alert.what}. {howBad(alert.measured, desk.units)}
                  </span>
                  <button id={controlId(rowIdOf(truck, alert.id), 'take')} type="button" onClick={() => take(alert.id)}>
                    I have it<span class="hidden">: {alert.place}</span>
                  </button>
                </li>
              ))}
            </ul>
          </details>
        </div>
        <TruckFacts truck={truck} isShort />
        <div class="hands">
          <p class="holder nobody">{holder(alerts[0]!, desk.nowMs)}</p>
          <div class="buttons">
            <button
              id={controlId(row, 'take')}
              type="button"
              class="first"
              onClick={() => {
                for (const { id } of alerts) take(id);
              }}
            >
              I have all {alerts.length}
              <span class="hidden">: {truck.truck}</span>
            </button>
          </div>
        </div>
      </article>
    </li>
  );
}
