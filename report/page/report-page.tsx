import { useMemo, useState } from 'preact/hooks';
import type { ReportData } from '../data.js';
import { Alerts } from './alert/alerts.js';
import { Glance } from './glance/glance.js';
import { useLook } from './look.js';
import { Controls } from './parts/controls.js';
import { Found } from './parts/found.js';
import { Contents, Head, RunningHead } from './parts/head.js';
import { type Reader, ReaderContext } from './reader.js';
import { AirPart } from './sections/air.js';
import { BrakesPart } from './sections/brakes.js';
import { AboutData, GapsPart, MutedPart, NotJudgedPart } from './sections/data-parts.js';
import { GlossaryPart } from './sections/glossary.js';
import { TiresPart } from './sections/tires.js';
import { TripsPart } from './sections/trips.js';
import { useGrowing } from './use-growing.js';
import { clockOf, type Zone } from './words/time.js';
import { readingOf } from './words/units.js';

export function ReportPage({ data }: { data: ReportData }) {
  const [zone, setZone] = useState<Zone>('utc');
  const { look, setLook } = useLook();
  const { fromMs, lengthS, about } = data;
  const reader = useMemo<Reader>(
    () => ({
      data,
      clock: clockOf(fromMs, lengthS, zone),
      show: about.show,
      unitOf: (unit) => readingOf(unit, about.show).unit,
    }),
    [data, fromMs, lengthS, zone, about],
  );
  // Made once: what is there already is not looked at again when the page grows.
  const top = useMemo(() => [<Found key="found" />, <Contents key="contents" />, <Glance key="glance" />], []);
  const bottom = useMemo(
    () => [
      <TiresPart key="tires" />,
      <BrakesPart key="brakes" />,
      <AirPart key="air" />,
      <TripsPart key="trips" />,
      <GapsPart key="gaps" />,
      <MutedPart key="muted" />,
      <NotJudgedPart key="not-judged" />,
      <AboutData key="data" />,
      <GlossaryPart key="glossary" />,
    ],
    [],
  );
  const shown = useGrowing(data.alerts.length + bottom.length);
  const below = shown - data.alerts.length;
  return (
    <ReaderContext.Provider value={reader}>
      <a class="skip" href="#found">
        Go to what was found
      </a>
      <RunningHead />
      <Head>
        <Controls zone={zone} setZone={setZone} look={look} setLook={setLook} />
      </Head>
      <main id="main">
        {top}
        <Alerts shown={shown} />
        {bottom.slice(0, Math.max(0, below))}
      </main>
    </ReaderContext.Provider>
  );
}
