import type { AlertStory } from '../../data.js';

/** What hands and eyes can find out, in this order; and how to tell a bad sensor from a bad wheel. */
export function Checks({ alert: { checks, sensorOrReal }, Part }: { alert: AlertStory; Part: 'h4' }) {
  return (
    <div class="columns checks">
      {checks.length > 0 && (
        <section>
          <Part>Check by hand, in this order</Part>
          <ol>
            {checks.map(({ do: words, tool }) => (
              <li key={words}>
                {words} {tool !== null && <span class="tool">{tool}</span>}
              </li>
            ))}
          </ol>
        </section>
      )}
      {sensorOrReal.length > 0 && (
        <section>
          <Part>Bad sensor or real fault?</Part>
          <ul>
            {sensorOrReal.map((words) => (
              <li key={words}>{words}</li>
            ))}
          </ul>
        </section>
      )}
    </div>
  );
}
