import type { BrakeSection } from '../../data.js';
import { anchorOf } from '../alert/order.js';
import { type Column, Raw, Table } from '../parts/table.js';
import { isOver } from '../points/brake-clouds.js';
import { useReader } from '../reader.js';
import { cell, STATE_WORDS, stateWords } from '../words/units.js';

type Wheel = BrakeSection['wheels'][number];

const MOST_ROWS = 500;

/** A line for each wheel end: what it is, its limit, what it told. */
export function WheelTable({ brakes }: { brakes: BrakeSection }) {
  const { data, show, unitOf } = useReader();
  const what = new Map(data.alerts.map((alert) => [alert.id, alert.what]));
  const length = unitOf('mm');
  const isMeasured = brakes.wheels.some(({ strokeMm }) => strokeMm.some((mm) => mm !== null));
  const isStated = brakes.wheels.some(({ code }) => code.some((state) => state !== null));
  const columns: Column<Wheel>[] = [
    { head: 'Wheel end', isHead: true, cell: ({ place }) => place },
    { head: 'Chamber', isText: true, cell: ({ chamber }) => chamber ?? 'not known' },
    ...(isMeasured ? strokeColumns(brakes, length, show) : []),
    ...(isStated ? stateColumns() : []),
    {
      head: 'Alerts',
      isText: true,
      cell: ({ alerts }) =>
        alerts.length === 0
          ? '–'
          : alerts.map((id, i) => <AlertLink key={id} id={id} what={what.get(id)} isFirst={i === 0} />),
    },
  ];
  const bases = [...new Set(brakes.wheels.flatMap(({ limitBasis }) => limitBasis ?? []))];
  return (
    <>
      <Table name="Wheel ends" columns={columns} rows={brakes.wheels} />
      {isMeasured && bases.length > 0 && <p class="quiet">Limits are those of {bases.join('; ')}.</p>}
    </>
  );
}

function AlertLink({ id, what, isFirst }: { id: string; what: string | undefined; isFirst: boolean }) {
  return (
    <>
      {!isFirst && ', '}
      {what === undefined ? 'one that is not told in full' : <a href={`#${anchorOf(id)}`}>{what}</a>}
    </>
  );
}

function strokeColumns(brakes: BrakeSection, length: string, show: Parameters<typeof cell>[2]): Column<Wheel>[] {
  const { band, applications } = brakes;
  const isJudged = (row: number): boolean => {
    const peak = applications.peakKpa[row] ?? null;
    return peak !== null && (band === null || (peak >= band.lowKpa && peak <= band.highKpa));
  };
  const judged = ({ strokeMm }: Wheel): number[] =>
    strokeMm.flatMap((mm, row) => (mm !== null && isJudged(row) ? [mm] : []));
  return [
    { head: `Limit, ${length}`, isNumber: true, cell: ({ limitMm }) => cell(limitMm, 'mm', show) },
    { head: 'Judged', isNumber: true, cell: (wheel) => judged(wheel).length },
    {
      head: `Longest judged, ${length}`,
      isNumber: true,
      cell: (wheel) => cell(judged(wheel).length === 0 ? null : Math.max(...judged(wheel)), 'mm', show),
    },
    {
      head: 'Over the limit',
      isNumber: true,
      cell: (wheel) => wheel.strokeMm.filter((_, row) => isOver(brakes, wheel, row)).length,
    },
  ];
}

const stateColumns = (): Column<Wheel>[] =>
  STATE_WORDS.map((words, state) => ({
    head: words,
    isNumber: true,
    cell: ({ code }) => code.filter((told) => told === state).length,
  }));

/** Every application, the hardest 500 of more. */
export function ApplicationTable({ brakes }: { brakes: BrakeSection }) {
  const { clock, show, unitOf } = useReader();
  const { applications: all, wheels } = brakes;
  const hardest = all.s
    .map((_, row) => row)
    .sort((a, b) => (all.peakKpa[b] ?? 0) - (all.peakKpa[a] ?? 0))
    .slice(0, MOST_ROWS)
    .sort((a, b) => a - b);
  const [pressure, speed] = [unitOf('kPa'), unitOf('km/h')];
  const columns: Column<number>[] = [
    { head: `Time, ${clock.name}`, isHead: true, cell: (row) => clock.moment(all.s[row]!) },
    { head: 'Seconds', isNumber: true, cell: (row) => all.durationS[row]!.toFixed(1) },
    { head: `Peak, ${pressure}`, isNumber: true, cell: (row) => cell(all.peakKpa[row]!, 'kPa', show) },
    { head: `Mean, ${pressure}`, isNumber: true, cell: (row) => cell(all.meanKpa[row]!, 'kPa', show) },
    { head: `From, ${speed}`, isNumber: true, cell: (row) => cell(all.startKmh[row]!, 'km/h', show) },
    { head: `To, ${speed}`, isNumber: true, cell: (row) => cell(all.endKmh[row]!, 'km/h', show) },
    { head: `Air used, ${pressure}`, isNumber: true, cell: (row) => cell(all.airUsedKpa[row]!, 'kPa', show) },
    { head: 'Qualifies', cell: (row) => (all.qualifying[row] === 1 ? 'yes' : 'no') },
    { head: 'Known from', cell: (row) => all.from[row] },
    ...wheels.map(
      (wheel): Column<number> => ({
        head: wheel.place,
        isNumber: true,
        cell: (row) => wheelCell(wheel, row, unitOf('mm'), show),
      }),
    ),
  ];
  const summary =
    hardest.length < all.s.length ? `The hardest ${MOST_ROWS} applications as a table` : 'All applications as a table';
  return (
    <Raw
      summary={summary}
      name="Applications"
      make={() => <Table name="Applications" columns={columns} rows={hardest} />}
    />
  );
}

function wheelCell({ strokeMm, code }: Wheel, row: number, length: string, show: Parameters<typeof cell>[2]): string {
  const [mm, state] = [strokeMm[row] ?? null, code[row] ?? null];
  const parts = [
    ...(mm === null ? [] : [`${cell(mm, 'mm', show)} ${length}`]),
    ...(state === null ? [] : [stateWords(state)]),
  ];
  return parts.length === 0 ? '–' : parts.join(', ');
}
