import { useMemo } from 'preact/hooks';
import type { TireSection } from '../../data.js';
import { type Column, Table } from '../parts/table.js';
import { PlotGroup } from '../plot/group.js';
import { PlotFigure } from '../plot/plot-figure.js';
import { useReader } from '../reader.js';
import { span } from '../words/time.js';
import { cell } from '../words/units.js';

type Tire = TireSection['table'][number];

/** All tires over the whole time, axle by axle; one instant is read in all of them. */
export function TiresPart() {
  const { tires } = useReader().data;
  const group = useMemo(() => new PlotGroup(), [tires]);
  return (
    <section id="tires" aria-labelledby="tires-title">
      <h2 id="tires-title">Tires</h2>
      {tires === null ? (
        <p>Nothing was heard of tires.</p>
      ) : (
        <>
          <TireTable tires={tires} />
          {tires.axles.map(({ place, pressures, temperatures }) => (
            <section key={place} class="axle">
              <h3>{place}</h3>
              <div class="pair">
                <PlotFigure plot={pressures} group={group} paper="half" />
                {temperatures !== null && <PlotFigure plot={temperatures} group={group} paper="half" />}
              </div>
            </section>
          ))}
        </>
      )}
    </section>
  );
}

function TireTable({ tires: { table } }: { tires: TireSection }) {
  const { show, unitOf } = useReader();
  const [pressure, heat] = [unitOf('kPa'), unitOf('°C')];
  const columns: Column<Tire>[] = [
    { head: 'Tire', isHead: true, cell: ({ place }) => place },
    { head: `Target, ${pressure}`, isNumber: true, cell: ({ targetKpa }) => cell(targetKpa, 'kPa', show) },
    { head: `First cold, ${pressure}`, isNumber: true, cell: ({ firstKpa }) => cell(firstKpa, 'kPa', show) },
    { head: `Last cold, ${pressure}`, isNumber: true, cell: ({ lastKpa }) => cell(lastKpa, 'kPa', show) },
    {
      head: 'Last, of target',
      isNumber: true,
      cell: ({ lastKpa, targetKpa }) =>
        lastKpa === null || targetKpa === null ? '–' : `${Math.round((lastKpa / targetKpa) * 100)} %`,
    },
    { head: `Hottest, ${heat}`, isNumber: true, cell: ({ hottestC }) => cell(hottestC, '°C', show) },
    { head: 'Readings', isNumber: true, cell: ({ readings }) => readings },
    { head: 'Silent while moving', isNumber: true, cell: ({ silentS }) => (silentS > 0 ? span(silentS) : '–') },
  ];
  return <Table name="Tires" columns={columns} rows={table} />;
}
