import { useMemo } from 'preact/hooks';
import type { BrakeSection } from '../../data.js';
import { Raw } from '../parts/table.js';
import { LineMark } from '../plot/key.js';
import { sorted, stateCloud, strokeCloud } from '../points/brake-clouds.js';
import { CloudFigure } from '../points/cloud-figure.js';
import { ShapeMark } from '../points/shapes-key.js';
import { useReader } from '../reader.js';
import { inUnits } from '../words/units.js';
import { applicationWords } from './application-words.js';
import { ApplicationTable, WheelTable } from './brake-tables.js';

/** Every brake application of the time, wheel by wheel. */
export function BrakesPart() {
  const { brakes } = useReader().data;
  return (
    <section id="brakes" aria-labelledby="brakes-title">
      <h2 id="brakes-title">Brakes</h2>
      {brakes === null ? <p>Nothing was heard of brakes.</p> : <Brakes brakes={brakes} />}
    </section>
  );
}

function Brakes({ brakes }: { brakes: BrakeSection }) {
  const { show } = useReader();
  const { applications, qualifyingKpa, band, leftOut } = brakes;
  const { measured, stated, ok, silent } = useMemo(() => sorted(brakes.wheels), [brakes]);
  const qualify = applications.qualifying.filter((is) => is === 1).length;
  return (
    <>
      <p>
        {applications.s.length} applications, {qualify} of them hard or long enough to judge brakes by
        {qualifyingKpa !== null && ` (from ${inUnits(qualifyingKpa, 'kPa', show)})`}.
        {band !== null &&
          measured.length > 0 &&
          ` Measured stroke is judged at ${inUnits(band.lowKpa, 'kPa', show)} to ${inUnits(band.highKpa, 'kPa', show)}.`}
        {leftOut > 0 &&
          ` ${leftOut} are left out; those in which a brake said something wrong stay first, then the harder ones.`}
      </p>
      {brakes.wheels.length > 0 && <WheelTable brakes={brakes} />}
      {measured.length > 0 && (
        <>
          <h3>Stroke against application pressure</h3>
          <ShapesKey kind="stroke" qualifyingKpa={null} />
          <StrokeClouds brakes={brakes} wheels={measured} />
        </>
      )}
      {stated.length + ok.length > 0 && (
        <>
          <h3>What the stroke sensors said at each application</h3>
          {stated.length > 0 && <StateClouds brakes={brakes} wheels={stated} />}
          {ok.length > 0 && (
            <>
              <p>Said ok at every application: {ok.map(({ place }) => place).join('; ')}.</p>
              <Raw
                summary={ok.length === 1 ? 'Its applications' : 'Their applications'}
                name="wheel ends that were ok throughout"
                make={() => <StateClouds brakes={brakes} wheels={ok} />}
              />
            </>
          )}
        </>
      )}
      {silent.length > 0 && (
        <p class="quiet">Told nothing at any application: {silent.map(({ place }) => place).join('; ')}.</p>
      )}
      {applications.s.length > 0 && <ApplicationTable brakes={brakes} />}
    </>
  );
}

interface CloudsProps {
  brakes: BrakeSection;
  wheels: BrakeSection['wheels'];
}

function StrokeClouds({ brakes, wheels }: CloudsProps) {
  const { clock, show } = useReader();
  const clouds = useMemo(
    () =>
      wheels.map((wheel) =>
        strokeCloud(brakes, wheel, wheel.limitMm === null ? '' : `limit ${inUnits(wheel.limitMm, 'mm', show)}`),
      ),
    [brakes, wheels, show],
  );
  return (
    <div class="pair">
      {wheels.map((wheel, i) => (
        <CloudFigure
          key={wheel.subject}
          cloud={clouds[i]!}
          {...(wheel.chamber === null && { caption: '(chamber not known)' })}
          describe={(row) => applicationWords(brakes, wheel, row, clock, show)}
        />
      ))}
    </div>
  );
}

function StateClouds({ brakes, wheels }: CloudsProps) {
  const { data, clock, show } = useReader();
  const clouds = useMemo(() => {
    return wheels.map((wheel) => stateCloud(brakes, wheel, data.lengthS));
  }, [brakes, wheels, data]);
  return (
    <>
      <ShapesKey kind="state" qualifyingKpa={brakes.qualifyingKpa} />
      <div class="pair">
        {wheels.map((wheel, i) => (
          <CloudFigure
            key={wheel.subject}
            cloud={clouds[i]!}
            describe={(row) => applicationWords(brakes, wheel, row, clock, show)}
          />
        ))}
      </div>
    </>
  );
}

function ShapesKey({ kind, qualifyingKpa }: { kind: 'stroke' | 'state'; qualifyingKpa: number | null }) {
  const { show } = useReader();
  return (
    <ul class="shapes-key">
      <li>
        <ShapeMark shape="dot" isFull /> {kind === 'stroke' ? 'qualifying application' : 'ok, qualifying'}
      </li>
      <li>
        <ShapeMark shape="dot" isFull={false} /> {kind === 'stroke' ? 'other application' : 'ok, lighter'}
      </li>
      <li>
        <ShapeMark shape="triangle" isFull />{' '}
        {kind === 'stroke' ? 'over the limit where it is judged, or told as over-stroke' : 'over-stroke'}
      </li>
      <li>
        <ShapeMark shape="cross" isFull /> not acting
      </li>
      <li>
        <ShapeMark shape="square" isFull /> dragging
      </li>
      {qualifyingKpa !== null && (
        <li>
          <LineMark dash="10 3 2 3" /> qualifies from {inUnits(qualifyingKpa, 'kPa', show)}
        </li>
      )}
    </ul>
  );
}
