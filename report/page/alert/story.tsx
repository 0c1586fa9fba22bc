import { useMemo } from 'preact/hooks';
import type { AlertStory } from '../../data.js';
import { Said } from '../parts/said.js';
import { UrgencyTag } from '../parts/urgency.js';
import { PlotGroup } from '../plot/group.js';
import { PlotFigure } from '../plot/plot-figure.js';
import { useReader } from '../reader.js';
import { span } from '../words/time.js';
import { Changes } from './changes.js';
import { Checks } from './checks.js';
import { Hints } from './hints.js';
import { JudgedTable } from './judged.js';
import { anchorOf } from './order.js';

interface StoryProps {
  alert: AlertStory;
  consequences: AlertStory[];
  hasUntoldCause: boolean;
  /** Of its heading. */
  level: 3 | 4;
}

/** One alert from what the program saw to what hands can check; its consequences below it. */
export function Story({ alert, consequences, hasUntoldCause, level }: StoryProps) {
  const group = useMemo(() => new PlotGroup(), [alert]);
  const Title = `h${level}` as 'h3';
  const Part = `h${level + 1}` as 'h4';
  const id = anchorOf(alert.id);
  const keepsRight = alert.plots.some(({ axes }) => axes.length > 1);
  return (
    <article class={`alert ${level === 4 ? 'consequence' : ''}`} id={id} aria-labelledby={`${id}-title`} tabIndex={-1}>
      <Title id={`${id}-title`}>
        <UrgencyTag urgency={alert.worst} /> {alert.place}: {alert.what}
      </Title>
      <When alert={alert} />
      {hasUntoldCause && <p class="quiet">Another alert explains it, which is not told in full here.</p>}
      <p class="advice">
        <b>Advised at its worst:</b> {alert.advice}
      </p>
      {alert.saw.length > 0 && (
        <>
          <Part>What the program saw</Part>
          <ul class="saw">
            {alert.saw.map((words, i) => (
              <li key={i}>
                <Said words={words} />
              </li>
            ))}
          </ul>
        </>
      )}
      {alert.plots.map((plot, i) => (
        <PlotFigure key={`${i} ${plot.title}`} plot={plot} group={group} keepsRight={keepsRight} />
      ))}
      <Hints hints={alert.hints} Part={Part} />
      <JudgedTable alert={alert} Part={Part} />
      <Changes alert={alert} Part={Part} />
      <Checks alert={alert} Part={Part} />
      {consequences.length > 0 && (
        <section class="consequences" aria-label={`Consequences of ${alert.place}: ${alert.what}`}>
          <p class="consequences-title">
            This alert explains {consequences.length === 1 ? 'another' : `${consequences.length} others`}:
          </p>
          {consequences.map((each) => (
            <Story key={each.id} alert={each} consequences={[]} hasUntoldCause={false} level={4} />
          ))}
        </section>
      )}
    </article>
  );
}

function When({ alert: { fromS, toS, end, kind } }: { alert: AlertStory }) {
  const { clock, data } = useReader();
  return (
    <p class="when">
      {toS === null ? (
        <>
          From <time>{clock.moment(fromS)}</time> on ({span(data.lengthS - fromS)})
        </>
      ) : (
        <>
          <time>{clock.moment(fromS)}</time> to <time>{clock.moment(toS)}</time> ({span(toS - fromS)})
        </>
      )}
      {' · '}
      {end}
      {kind === 'system' && ' · about the measuring, not about the truck itself'}
    </p>
  );
}
