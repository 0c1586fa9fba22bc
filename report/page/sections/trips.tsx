import type { TripLine } from '../../data.js';
import { type Column, Table } from '../parts/table.js';
import { useReader } from '../reader.js';
import { span } from '../words/time.js';
import { cell, distance, inUnits } from '../words/units.js';

export function TripsPart() {
  const { data, clock, show, unitOf } = useReader();
  const pressure = unitOf('kPa');
  const columns: Column<TripLine>[] = [
    { head: 'Trip', isHead: true, cell: ({ trip, provisional }) => `${trip}${provisional ? ' (end not seen)' : ''}` },
    { head: 'From', cell: ({ fromS }) => clock.moment(fromS) },
    { head: 'To', cell: ({ toS }) => clock.moment(toS) },
    {
      head: 'Distance',
      isNumber: true,
      cell: ({ distanceKm }) => (distanceKm === null ? '–' : distance(distanceKm, show)),
    },
    { head: 'Moving', isNumber: true, cell: ({ movingS }) => (movingS === null ? '–' : span(movingS)) },
    { head: 'Brakings', isNumber: true, cell: ({ applications }) => applications ?? '–' },
    { head: `Hardest, ${pressure}`, isNumber: true, cell: ({ hardestKpa }) => cell(hardestKpa, 'kPa', show) },
    {
      head: 'Hottest tire',
      isText: true,
      cell: ({ hottest }) => (hottest === null ? '–' : `${inUnits(hottest.celsius, '°C', show)}, ${hottest.place}`),
    },
    { head: `Lowest air, ${pressure}`, isNumber: true, cell: ({ lowestAirKpa }) => cell(lowestAirKpa, 'kPa', show) },
    {
      head: 'Pumping',
      isNumber: true,
      cell: ({ compressorShare }) => (compressorShare === null ? '–' : `${Math.round(compressorShare * 100)} %`),
    },
    { head: 'Alerts', isNumber: true, cell: ({ alerts }) => alerts },
    { head: 'Not heard', isNumber: true, cell: ({ gapS }) => (gapS > 0 ? span(gapS) : '–') },
  ];
  return (
    <section id="trips" aria-labelledby="trips-title">
      <h2 id="trips-title">Trips</h2>
      {data.trips.length === 0 ? <p>None was seen.</p> : <Table name="Trips" columns={columns} rows={data.trips} />}
    </section>
  );
}
