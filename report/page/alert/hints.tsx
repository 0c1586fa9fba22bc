import type { Hint } from '../../data.js';
import { Said } from '../parts/said.js';

const GROUPS: [Hint['points'], string][] = [
  ['real', 'Speaks for a real fault'],
  ['sensor', 'Speaks for a bad sensor'],
  ['unclear', 'Cannot tell'],
];

/** What these data say about the question whether it is the wheel or its sensor. */
export function Hints({ hints, Part }: { hints: Hint[]; Part: 'h4' }) {
  if (hints.length === 0) return null;
  return (
    <section class="hints">
      <Part>Real or sensor, by these data</Part>
      <div class="columns">
        {GROUPS.map(([points, words]) => {
          const mine = hints.filter((hint) => hint.points === points);
          if (mine.length === 0) return null;
          return (
            <div key={points} class={`hint ${points}`}>
              <p class="label">{words}</p>
              <ul>
                {mine.map((hint, i) => (
                  <li key={i}>
                    <Said words={hint.words} />
                  </li>
                ))}
              </ul>
            </div>
          );
        })}
      </div>
    </section>
  );
}
