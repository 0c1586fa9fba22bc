import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Plot, TireSection } from '../data.js';
import type { Gathered } from '../gathered.js';
import { drawn } from './lines.js';
import { motionIn } from './motion.js';
import { axleOf, targetOf, tiresOf } from './peers.js';
import { type Points, seriesOf } from './series.js';
import { showOf } from './spans.js';
import { nameBeside } from './tire-scene.js';
import { atS, lengthS, spanOf } from './window.js';

const MOST_POINTS = 400;

/** All tires over the whole time; null: no tire was heard. */
export function tireSection(gathered: Gathered): TireSection | null {
  const tires = tiresOf(gathered);
  if (tires.every((tire) => seriesOf(gathered, tire, 'pressure') === null)) return null;
  const axles = [...new Set(tires.map(axleOf))];
  return {
    axles: axles.flatMap((axle) =>
      axleRows(
        gathered,
        axle,
        tires.filter((tire) => axleOf(tire) === axle),
      ),
    ),
    table: tires.map((tire) => rowOf(gathered, tire)),
  };
}

function axleRows(gathered: Gathered, axle: string, tires: readonly string[]): TireSection['axles'] {
  const [unit, number] = axle.split('/');
  const place = `${unit} axle ${number}`;
  const isCold = tires.some((tire) => seriesOf(gathered, tire, 'cold pressure') !== null);
  const pressures = wholePlot(gathered, tires, {
    title: `${isCold ? 'Cold-equivalent pressure' : 'Pressure as sent'}: ${place}`,
    quantity: isCold ? 'cold pressure' : 'pressure',
    axis: { unit: 'kPa', label: 'pressure' },
  });
  if (pressures === null) return [];
  const temperatures = wholePlot(gathered, tires, {
    title: `Temperature: ${place}`,
    quantity: 'temperature',
    axis: { unit: '°C', label: 'temperature' },
  });
  return [{ place, pressures: { ...pressures, limits: targets(gathered, tires) }, temperatures }];
}

function wholePlot(
  gathered: Gathered,
  tires: readonly string[],
  {
    title,
    quantity,
    axis,
  }: { title: string; quantity: 'pressure' | 'cold pressure' | 'temperature'; axis: Plot['axes'][number] },
): Plot | null {
  const lines = tires.flatMap((tire) => {
    const points = seriesOf(gathered, tire, quantity);
    const look = { label: nameBeside(tire, tire), role: 'judged', most: MOST_POINTS } as const;
    return points === null ? [] : [drawn(gathered, points, axis.unit, look)];
  });
  if (lines.length === 0) return null;
  const { fromMs, toMs } = spanOf(gathered);
  const spans = gathered.gaps.map((gap) => ({
    kind: 'gap' as const,
    fromS: atS(gathered, gap.fromMs),
    toS: atS(gathered, gap.toMs),
    label: 'nothing heard',
  }));
  return {
    title,
    fromS: atS(gathered, fromMs),
    toS: atS(gathered, toMs),
    axes: [axis],
    lines,
    limits: [],
    spans,
    marks: [],
  };
}

function targets(gathered: Gathered, tires: readonly string[]): Plot['limits'] {
  const values = new Set(tires.map((tire) => targetOf(gathered, tire)).filter((kpa) => kpa !== null));
  return [...values].map((value) => ({
    label: `target ${shown(value, 'kPa', showOf(gathered))}`,
    kind: 'target' as const,
    urgency: null,
    axis: 0 as const,
    value: Math.round(value * 10) / 10,
  }));
}

function rowOf(gathered: Gathered, tire: string): TireSection['table'][number] {
  const cold = seriesOf(gathered, tire, 'cold pressure');
  const celsius = seriesOf(gathered, tire, 'temperature');
  const pressure = seriesOf(gathered, tire, 'pressure');
  const tenth = (value: number | undefined): number | null =>
    value === undefined ? null : Math.round(value * 10) / 10;
  return {
    subject: tire,
    place: placeOf(tire),
    targetKpa: tenth(targetOf(gathered, tire) ?? undefined),
    firstKpa: tenth(cold?.value[0]),
    lastKpa: tenth(cold?.value.at(-1)),
    hottestC: celsius === null ? null : tenth(greatest(celsius.high ?? celsius.value)),
    readings: pressure?.value.length ?? 0,
    silentS: lengthS(silentMs(gathered, pressure)),
  };
}

const greatest = (list: readonly number[]): number => list.reduce((a, b) => Math.max(a, b), Number.NEGATIVE_INFINITY);

/** Moving time in its gaps, before its first and after its last reading. */
function silentMs(gathered: Gathered, points: Points | null): number {
  const { fromMs, toMs } = spanOf(gathered);
  const instants = points === null ? [] : points.atMs;
  const gapMs = points?.gapMs ?? 0;
  let silent = 0;
  let before = fromMs;
  for (const at of [...instants, toMs]) {
    if (at - before > gapMs) silent += motionIn(gathered, before, at).movingMs;
    before = at;
  }
  return silent;
}
