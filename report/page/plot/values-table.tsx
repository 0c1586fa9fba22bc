import type { Plot } from '../../data.js';
import { type Column, Raw, Table } from '../parts/table.js';
import { useReader } from '../reader.js';
import { cell } from '../words/units.js';
import { type ValueRow, valueRows } from './rows.js';

/** The values behind a plot. */
export function ValuesTable({ plot }: { plot: Plot }) {
  if (plot.lines.every(({ s }) => s.length === 0)) return null;
  return <Raw summary="Values as a table" name={plot.title} make={() => <Rows plot={plot} />} />;
}

function Rows({ plot }: { plot: Plot }) {
  const { clock, show, unitOf } = useReader();
  const { rows, every } = valueRows(plot);
  const columns: Column<ValueRow>[] = [
    { head: `Time, ${clock.name}`, isHead: true, cell: ({ s }) => clock.moment(s) },
    ...plot.lines.map(({ label, axis }, i): Column<ValueRow> => {
      const { unit } = plot.axes[axis]!;
      const name = unitOf(unit);
      return {
        head: name === '' ? label : `${label}, ${name}`,
        isNumber: true,
        cell: ({ v }) => cell(v[i]!, unit, show),
      };
    }),
  ];
  return (
    <>
      {every > 1 && (
        <p class="quiet">One of {every} rows is shown, and those with the least and the greatest values.</p>
      )}
      <Table name={`Values of ${plot.title}`} columns={columns} rows={rows} />
    </>
  );
}
