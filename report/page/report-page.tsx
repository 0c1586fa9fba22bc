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

/** Parts below the alerts, which come after them. */
const PARTS_BELOW = 3;

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
  const shown = useGrowing(data.alerts.length + PARTS_BELOW);
  const below = shown - data.alerts.length;
  return (
    <ReaderContext.Provider value={reader}>
      <a class="skip" href="#found">
        Go to what was found
      </a>
      <RunningHead />
      <Controls zone={zone} setZone={setZone} look={look} setLook={setLook} />
      <Head />
      <main id="main">
        <Found />
        <Contents />
        <Glance />
        <Alerts shown={shown} />
        {below > 0 && <TiresPart />}
        {below > 1 && (
          <>
            <BrakesPart />
            <AirPart />
          </>
        )}
        {below > 2 && (
          <>
            <TripsPart />
            <GapsPart />
            <MutedPart />
            <NotJudgedPart />
            <AboutData />
            <GlossaryPart />
          </>
        )}
      </main>
    </ReaderContext.Provider>
  );
}
