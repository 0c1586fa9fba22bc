import type { ComponentChildren } from 'preact';
import { useReader } from '../reader.js';
import { span } from '../words/time.js';

const CAUTION =
  "Axlepost advises. It does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.";

/** "T-1042 with trailer TR-77". */
function useTruck(): string {
  const { truck, trailer } = useReader().data.about;
  return trailer === null ? truck : `${truck} with trailer ${trailer}`;
}

/** "Mon 2 Mar 2026, 13:00 to 16:01". */
function useWhen(): string {
  const { data, clock } = useReader();
  const [first, last] = [clock.day(0), clock.day(data.lengthS)];
  const end = clock.hm(data.lengthS);
  return first === last ? `${first}, ${clock.hm(0)} to ${end}` : `${first}, ${clock.hm(0)} to ${last}, ${end}`;
}

/** On each sheet of paper. */
export function RunningHead() {
  const { clock } = useReader();
  return (
    <p class="running-head" aria-hidden="true">
      <span>{useTruck()}</span>
      <span>
        {useWhen()} {clock.name}
      </span>
    </p>
  );
}

/** @param children stand above it on a screen */
export function Head({ children }: { children: ComponentChildren }) {
  const { data, clock } = useReader();
  const { about } = data;
  return (
    <header class="head">
      {children}
      <p class="kicker">Axlepost shift report</p>
      <h1>{useTruck()}</h1>
      <p class="when">
        {useWhen()} <span class="zone">{clock.zone === 'utc' ? 'UTC' : `${clock.name} (this computer's time)`}</span>,{' '}
        {span(data.lengthS)}
      </p>
      <dl class="about">
        <Fact name="Fleet">{about.fleet}</Fact>
        <Fact name={about.sources.length === 1 ? 'Source' : 'Sources'}>{about.sources.join(', ')}</Fact>
        {about.frames !== null && (
          <Fact name="Frames">
            {grouped(about.frames.all)}, {grouped(about.frames.interesting)} of interest
          </Fact>
        )}
        <Fact name="Readings">
          {about.fine ? 'one by one' : 'by the minute: delays and steps within a minute are not seen'}
        </Fact>
        <Fact name="Clock">
          {about.synced ? 'known to be right' : 'not known to be right: times are as they were recorded'}
        </Fact>
        <Fact name="Configuration">{about.configs.length === 0 ? 'not known' : about.configs.join(', ')}</Fact>
        <Fact name="Axlepost">{about.version}</Fact>
      </dl>
      <p class="caution">{CAUTION}</p>
    </header>
  );
}

function Fact({ name, children }: { name: string; children: ComponentChildren }) {
  return (
    <div>
      <dt>{name}</dt>
      <dd>{children}</dd>
    </div>
  );
}

const grouped = (n: number): string => String(n).replace(/\B(?=(\d{3})+$)/g, ' ');

/** The parts of the page. */
export function Contents() {
  const { data } = useReader();
  const parts: [string, string, boolean][] = [
    ['glance', 'Shift at a glance', true],
    ['alerts', 'Alerts', true],
    ['tires', 'Tires', true],
    ['brakes', 'Brakes', true],
    ['air', 'Air', true],
    ['trips', 'Trips', true],
    ['gaps', 'Gaps', true],
    ['muted', 'Muted', true],
    ['not-judged', 'Not judged', data.notJudged.length > 0],
    ['data', 'About the data', true],
    ['glossary', 'Words', true],
  ];
  return (
    <nav class="contents no-print" aria-label="Parts of this report">
      {parts
        .filter(([, , isThere]) => isThere)
        .map(([id, words]) => (
          <a key={id} href={`#${id}`}>
            {words}
          </a>
        ))}
    </nav>
  );
}
