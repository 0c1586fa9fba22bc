import type { AlertStory } from '../../data.js';
import { Glyph, URGENCY_WORDS } from '../parts/urgency.js';
import { useReader } from '../reader.js';

/** What became of it, step by step. */
export function Changes({ alert, Part }: { alert: AlertStory; Part: 'h4' }) {
  const { clock } = useReader();
  if (alert.changes.length === 0) return null;
  return (
    <section class="changes">
      <Part>What became of it</Part>
      <ol>
        {alert.changes.map(({ s, urgency, change, words, who, note }, i) => (
          <li key={i}>
            <time>{clock.moment(s)}</time>
            <span class="level">
              <Glyph urgency={urgency} />
              <span>
                <b>{change}</b>, {URGENCY_WORDS[urgency].toLowerCase()}
              </span>
            </span>
            <span>
              {words}
              {who !== null && ` (${who})`}
              {note !== null && `: “${note}”`}
            </span>
          </li>
        ))}
      </ol>
    </section>
  );
}
