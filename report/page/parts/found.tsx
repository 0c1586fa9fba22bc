import { URGENCIES, type Urgency } from '../../../config/resolved.js';
import type { AlertStory } from '../../data.js';
import { anchorOf, toldOf } from '../alert/order.js';
import { useReader } from '../reader.js';
import { Glyph } from './urgency.js';

const MOST_LINKS = 6;

const WORDS: Record<Urgency, [one: string, more: string]> = {
  'pull-over': ['alert to pull over for', 'alerts to pull over for'],
  'next-stop': ['alert for the next safe stop', 'alerts for the next safe stop'],
  plan: ['alert to plan a repair for', 'alerts to plan repairs for'],
};

/** What was found, worst first: a line for each urgency. */
export function Found() {
  const { data } = useReader();
  const told = toldOf(data.alerts);
  const roots = told.map(({ alert }) => alert);
  const under = new Map(told.map(({ alert, consequences }) => [alert.id, consequences.length]));
  return (
    <section id="found" class="found" aria-labelledby="found-title" tabIndex={-1}>
      <h2 id="found-title">What was found</h2>
      {data.alerts.length === 0 ? (
        <p>
          No alert in this time. That is not a proof of health: see <a href="#gaps">gaps</a> and{' '}
          <a href="#data">what the data say of themselves</a>.
        </p>
      ) : (
        <ul>
          {[...URGENCIES].reverse().map((urgency) => (
            <FoundLine
              key={urgency}
              urgency={urgency}
              under={under}
              alerts={roots.filter(({ worst }) => worst === urgency)}
            />
          ))}
        </ul>
      )}
      {data.alertsLeftOut > 0 && (
        <p>
          {data.alertsLeftOut} more are on the time axis only: there were too many to tell each in full. Make a report
          of a shorter time to see them.
        </p>
      )}
    </section>
  );
}

interface FoundLineProps {
  urgency: Urgency;
  alerts: AlertStory[];
  /** How many alerts each of them explains. */
  under: Map<string, number>;
}

function FoundLine({ urgency, alerts, under }: FoundLineProps) {
  if (alerts.length === 0) return null;
  const more = alerts.length - MOST_LINKS;
  return (
    <li>
      <Glyph urgency={urgency} />
      <b>
        {alerts.length} {WORDS[urgency][alerts.length === 1 ? 0 : 1]}
      </b>
      {': '}
      {alerts.slice(0, MOST_LINKS).map((alert, i) => (
        <span key={alert.id}>
          {i > 0 && '; '}
          <a href={`#${anchorOf(alert.id)}`}>
            {alert.place}: {alert.what}
          </a>
          {asideOf(alert, under.get(alert.id) ?? 0)}
        </span>
      ))}
      {more > 0 && (
        <>
          {'; '}
          <a href="#glance">and {more} more</a>
        </>
      )}
    </li>
  );
}

function asideOf({ toS }: AlertStory, explains: number): string {
  const parts = [...(toS === null ? ['still open'] : []), ...(explains > 0 ? [`explains ${explains} more`] : [])];
  return parts.length === 0 ? '' : ` (${parts.join(', ')})`;
}
