import { useMemo, useRef, useState } from 'preact/hooks';
import type { BoardTruck, TruckPage } from '../../core/board-model.js';
import { CaseRow } from '../board/case-row.js';
import { useDesk } from '../board/desk.js';
import { byNeed } from '../board/groups.js';
import { useKeptFocus } from '../board/kept-focus.js';
import { TruckFacts } from '../board/truck-facts.js';
import { csvOf } from '../live/http.js';
import { REACH_WORDS } from '../words/alerts.js';
import { pastAlerts } from '../words/past.js';
import { ruleWords } from '../words/rules.js';
import { moment, msOf } from '../words/time.js';
import { Around } from './around.js';
import { Past } from './past.js';
import { Trailer } from './trailer.js';
import { Trips } from './trips.js';
import { useTruck } from './use-truck.js';
import { Wheels } from './wheels.js';

interface TruckViewProps {
  fleet: string;
  truck: string;
  /** As it stands on the board, live; undefined where it has nothing to tell. */
  live: BoardTruck | undefined;
}

/** One truck: what is open, every tire, brake and circuit, the hours around an alert, trips, past alerts. */
export function TruckView({ fleet, truck: name, live }: TruckViewProps) {
  const { nowMs } = useDesk();
  const root = useRef<HTMLElement | null>(null);
  useKeptFocus(root);
  const { page, series, problem } = useTruck(fleet, name, live?.revision, nowMs);
  const truck = live ?? page?.truck;
  return (
    <main ref={root} class="truck">
      <h1>
        {name}
        {truck !== undefined && truck.trailer !== null && <span class="trailer"> with {truck.trailer}</span>}
      </h1>
      {problem === 'unknown' && (
        <p class="problem" role="alert">
          No truck of that name has ever been heard in fleet {fleet}.
        </p>
      )}
      {problem === 'away' && (
        <p class="problem" role="alert">
          The office cannot be reached: what is shown may be old.
        </p>
      )}
      {problem === null && page === null && <p class="waiting">Asking the office …</p>}
      {truck !== undefined && <Now truck={truck} />}
      {page !== null && (
        <>
          <section aria-labelledby="wheels-title">
            <h2 id="wheels-title">Tires, brakes, air</h2>
            <Wheels page={page} series={series} alerts={truck?.alerts ?? []} />
          </section>
          <PastSection page={page} fleet={fleet} truck={name} />
          <section aria-labelledby="trips-title">
            <h2 id="trips-title">Trips</h2>
            <Trips trips={page.trips} />
          </section>
          <About page={page} />
        </>
      )}
    </main>
  );
}

/** How it stands, and what is open. */
function Now({ truck }: { truck: BoardTruck }) {
  const alerts = truck.alerts.map((alert) => ({ truck, alert })).sort(byNeed);
  return (
    <>
      <p class="reach-line">
        <b>{REACH_WORDS[truck.reach].name}</b>: {REACH_WORDS[truck.reach].means}
      </p>
      <TruckFacts truck={truck} />
      <Trailer fleet={truck.fleet} truck={truck.truck} trailer={truck.trailer} />
      {truck.sick.length > 0 && <p class="problem">The unit itself is sick: {truck.sick.join('; ')}</p>}
      <section aria-labelledby="open-title">
        <h2 id="open-title">
          Open alerts <span class="count">{alerts.length + truck.more}</span>
        </h2>
        {alerts.length === 0 && <p class="nothing">Nothing is open.</p>}
        <ol class="cases">
          {alerts.map((one) => (
            <CaseRow key={one.alert.id} one={one} size={one.alert.urgency === 'plan' ? 'small' : 'large'} />
          ))}
        </ol>
        {truck.more > 0 && <p>{truck.more} more are open and were left out by the truck; the worst are here.</p>}
      </section>
    </>
  );
}

function PastSection({ page, fleet, truck }: { page: TruckPage; fleet: string; truck: string }) {
  const alerts = useMemo(() => pastAlerts(page.events), [page.events]);
  const [picked, pick] = useState<string | null>(null);
  const around =
    alerts.find(({ id }) => id === picked) ??
    alerts.find(({ kind, worst }) => kind === 'equipment' && worst !== 'plan') ??
    alerts[0];
  return (
    <section aria-labelledby="past-title">
      <h2 id="past-title">Alerts and the hours around them</h2>
      {around !== undefined && <Around key={around.id} fleet={fleet} truck={truck} past={around} />}
      <Past alerts={alerts} chosen={around?.id ?? null} choose={pick} />
      <p class="csv">
        <a href={csvOf({ fleet, truck })}>All that it has told, as CSV</a>
      </p>
    </section>
  );
}

/** What is not judged, and what the unit is. */
function About({ page }: { page: TruckPage }) {
  const { nowMs } = useDesk();
  return (
    <section aria-labelledby="about-title">
      <h2 id="about-title">Its unit</h2>
      <dl class="about">
        <dt>Version, configuration</dt>
        <dd>{page.version === null ? 'not known' : `${page.version}, ${page.config}`}</dd>
        <dt>Buses</dt>
        <dd>
          {Object.entries(page.bus)
            .map(([bus, how]) => `${bus}: ${how}`)
            .join('; ') || 'not known'}
        </dd>
        {page.notJudged.length > 0 && (
          <>
            <dt>Not judged</dt>
            {page.notJudged.map(({ subject, who, until }) => (
              <dd key={subject}>
                {subject}: sensor called bad by {who}, until {moment(msOf(until), nowMs)}
              </dd>
            ))}
          </>
        )}
        {page.muted.length > 0 && (
          <>
            <dt>Holds as well, explained by another</dt>
            {page.muted.map(({ rule, subject, by }) => (
              <dd key={`${rule} ${subject}`}>
                {subject}: {ruleWords(rule)}, by {ruleWords(by)}
              </dd>
            ))}
          </>
        )}
      </dl>
    </section>
  );
}
