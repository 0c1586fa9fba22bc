import { useMemo } from 'preact/hooks';
import type { AirSection } from '../../data.js';
import { type Column, Raw, Table } from '../parts/table.js';
import { PlotGroup } from '../plot/group.js';
import { PlotFigure } from '../plot/plot-figure.js';
import { useReader } from '../reader.js';
import { span } from '../words/time.js';
import { cell, rateInUnits } from '../words/units.js';

type Cycle = AirSection['cycles'][number];
type Test = AirSection['tests'][number];

/** Circuits over the whole time, the compressor's cycles, and every leak test. */
export function AirPart() {
  const { air } = useReader().data;
  return (
    <section id="air" aria-labelledby="air-title">
      <h2 id="air-title">Air</h2>
      {air === null ? <p>Nothing was heard of air.</p> : <Air air={air} />}
    </section>
  );
}

function Air({ air }: { air: AirSection }) {
  const group = useMemo(() => new PlotGroup(), [air]);
  return (
    <>
      <PlotFigure plot={air.plot} group={group} />
      <h3>Leak tests</h3>
      {air.tests.length === 0 ? (
        <p>None came about: a test needs the truck to stand for a minute or more with nothing that uses air.</p>
      ) : (
        <Tests air={air} />
      )}
      {air.leftOut > 0 && <p class="quiet">{air.leftOut} more are left out.</p>}
      <h3>Compressor</h3>
      <Cycles air={air} />
      {air.cyclesLeftOut > 0 && <p class="quiet">{air.cyclesLeftOut} shorter ones are left out.</p>}
    </>
  );
}

function Tests({ air: { tests } }: { air: AirSection }) {
  const { clock, show, unitOf } = useReader();
  const columns: Column<Test>[] = [
    { head: 'Time', isHead: true, cell: ({ s }) => clock.moment(s) },
    { head: 'Lasted', isNumber: true, cell: ({ seconds }) => span(seconds) },
    { head: 'Brakes', cell: ({ state }) => state },
    { head: 'Circuit', cell: ({ circuit }) => circuit.replace('air/', '') },
    { head: `Fell by, ${unitOf('kPa')}`, isNumber: true, cell: ({ fallKpa }) => cell(fallKpa, 'kPa', show) },
    { head: 'Rate', isNumber: true, cell: ({ kpaPerMin }) => rateInUnits(kpaPerMin, show) },
    { head: 'Allowed', isNumber: true, cell: ({ limitKpaPerMin }) => rateInUnits(limitKpaPerMin, show) },
    { head: 'Result', cell: ({ passed }) => (passed ? 'within' : <b>too fast</b>) },
  ];
  const plotted = tests.filter(({ plot }) => plot !== null);
  return (
    <>
      <Table name="Leak tests" columns={columns} rows={tests} />
      <div class="pair small-ones">
        {plotted.map((test) => (
          <TestPlot key={`${test.s} ${test.circuit} ${test.state}`} test={test} />
        ))}
      </div>
    </>
  );
}

function TestPlot({ test }: { test: Test }) {
  const group = useMemo(() => new PlotGroup(), [test]);
  return <PlotFigure plot={test.plot!} group={group} paper="half" />;
}

function Cycles({ air: { cycles, compressorShare } }: { air: AirSection }) {
  const { clock, show, unitOf } = useReader();
  const pressure = unitOf('kPa');
  const columns: Column<Cycle>[] = [
    { head: 'Began', isHead: true, cell: ({ s }) => clock.moment(s) },
    { head: 'Pumped', isNumber: true, cell: ({ pumpingS }) => span(pumpingS) },
    { head: `Cut-in, ${pressure}`, isNumber: true, cell: ({ cutInKpa }) => cell(cutInKpa, 'kPa', show) },
    { head: `Cut-out, ${pressure}`, isNumber: true, cell: ({ cutOutKpa }) => cell(cutOutKpa, 'kPa', show) },
    {
      head: 'Engine turns for 100 kPa',
      isNumber: true,
      cell: ({ revolutionsPer100Kpa: turns }) => (turns === null ? '–' : Math.round(turns)),
    },
  ];
  return (
    <>
      <p>
        {cycles.length === 0 ? 'No full cycle was seen.' : `${cycles.length} cycles.`}
        {compressorShare !== null &&
          ` It pumped for ${Math.round(compressorShare * 100)} % of the time that the engine ran.`}
      </p>
      {cycles.length > 0 && (
        <Raw
          summary="Cycles as a table"
          name="Cycles of the compressor"
          make={() => <Table name="Cycles of the compressor" columns={columns} rows={cycles} />}
        />
      )}
    </>
  );
}
