import { shown } from '../../config/show.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { PlotLimit, Words } from '../data.js';
import { drawn, lineOf } from './lines.js';
import { targetOf, tiresOf } from './peers.js';
import type { Depict, Scene } from './picture.js';
import { plotOf, plotsOf, speedPlot } from './plots.js';
import { firstAt, type Points, pointsOf, seriesOf, valueBefore } from './series.js';
import { showOf } from './spans.js';
import { orUnclear } from './tire-hints-unclear.js';
import { medianLine } from './tire-scene.js';
import { atS } from './window.js';
import { capital, counted, listed } from './wording.js';

/** Of eighteen tires or more. */
const MOST_SHARE_POINTS = 120;

/** Cold-equivalent pressure by target. */
function sharesIn(scene: Scene): { tire: string; points: Points }[] {
  return tiresOf(scene.gathered).flatMap((tire) => {
    const target = targetOf(scene.gathered, tire);
    const cold = pointsOf(scene.gathered, tire, 'cold pressure', scene.fromMs, scene.toMs);
    if (target === null || cold === null) return [];
    return [{ tire, points: { atMs: cold.atMs, value: cold.value.map((kpa) => kpa / target), gapMs: cold.gapMs } }];
  });
}

/** All tires off their target by about as much. */
export const tiresOffTarget: Depict = (scene) => {
  const { gathered, alert } = scene;
  const shares = sharesIn(scene);
  const median = medianLine(shares.map(({ points }) => points));
  const shareLines = shares.map(({ tire, points }) =>
    drawn(gathered, points, 'share', { label: placeOf(tire), role: 'mate', most: MOST_SHARE_POINTS }),
  );
  const judged =
    median === null ? null : drawn(gathered, median, 'share', { label: 'median of all tires', role: 'judged' });
  const raise = alert.events[0]!.atMs;
  return {
    plots: plotsOf(
      plotOf(scene, {
        title: 'Cold-equivalent pressure by target',
        axes: [{ unit: 'share', label: 'share of target' }],
        lines: [judged, ...shareLines],
        limits: shiftLimits(scene),
      }),
      plotOf(scene, {
        title: 'Outside air',
        axes: [{ unit: '°C', label: 'temperature' }],
        lines: [lineOf(gathered, 'tractor', 'temperature', scene, { label: 'outside air', role: 'context' })],
        isContext: true,
      }),
      speedPlot(scene),
    ),
    saw: sawShares(scene, shares, raise),
    hints: orUnclear([], 'tires-off-target', []),
  };
};

/** Between the two limits on either side a shift counts as common to all. */
function shiftLimits({ alert }: Scene): PlotLimit[] {
  const { lowShare, highShare } = alert.constants;
  if (lowShare === undefined || highShare === undefined) return [];
  const limit = (kind: PlotLimit['kind'], label: string, value: number): PlotLimit => ({
    label,
    kind,
    urgency: kind === 'target' ? null : 'plan',
    axis: 0,
    value: Math.round(value * 1000) / 1000,
  });
  const percent = (share: number): string => `${Math.round(share * 1000) / 10} %`;
  return [
    limit('target', 'target', 1),
    ...[-1, 1].flatMap((side) => [
      limit('raise', `raise at ${percent(1 + side * lowShare)}`, 1 + side * lowShare),
      limit('clear', `clear at ${percent(1 + side * 0.75 * lowShare)}`, 1 + side * 0.75 * lowShare),
      limit('other', `no longer common at ${percent(1 + side * highShare)}`, 1 + side * highShare),
    ]),
  ];
}

function sawShares({ gathered, alert }: Scene, shares: readonly { points: Points }[], atMs: number): Words[] {
  const now = shares.map(({ points }) => valueBefore(points, atMs)).filter((share) => !Number.isNaN(share));
  const m = alert.events[0]!.draft.measured;
  const judged =
    m !== null && 'unit' in m && m.unit === 'share'
      ? `: the median share was ${Math.round(m.value * 1000) / 10} %`
      : '';
  const words: Words[] = [['At ', { atS: atS(gathered, atMs) }, ` all tires were judged together${judged}.`]];
  if (now.length > 0) {
    const percent = (share: number): string => `${Math.round(share * 100)} %`;
    words.push([
      `${capital(counted(now.length, 'tire'))} stood between ${percent(Math.min(...now))} and ${percent(Math.max(...now))} of target then, by cold-equivalent pressure; the median was ${percent(medianInPlace([...now]))}.`,
    ]);
  }
  const ambient = seriesOf(gathered, 'tractor', 'temperature');
  const celsius = ambient === null ? Number.NaN : valueBefore(ambient, atMs);
  const reference = gathered.config?.coldReferenceC;
  if (!Number.isNaN(celsius) && reference !== undefined) {
    const show = showOf(gathered);
    words.push([
      `Outside air had ${shown(celsius, '°C', show)}; targets are meant at ${shown(reference, '°C', show)}.`,
    ]);
  }
  return words;
}

/** A towed unit of which nothing is heard: what its tires told until then. */
export const trailerNotSeen: Depict = (scene) => {
  const { gathered, alert } = scene;
  const tires = tiresOf(gathered).filter((tire) => tire.split('/')[0] === alert.subject.split('/')[0]);
  const raise = alert.events[0]!.atMs;
  const last = tires.flatMap((tire) => {
    const points = seriesOf(gathered, tire, 'pressure');
    const i = points === null ? -1 : firstAt(points.atMs, raise + 1) - 1;
    return i < 0 ? [] : [points!.atMs[i]!];
  });
  const others = tiresOf(gathered).filter((tire) => !tires.includes(tire));
  const heard = others.filter((tire) => {
    const points = pointsOf(gathered, tire, 'pressure', raise - 10 * 60_000, raise);
    return points !== null;
  });
  return {
    plots: plotsOf(
      plotOf(scene, {
        title: `Pressures: ${alert.subject}`,
        axes: [{ unit: 'kPa', label: 'pressure as sent' }],
        lines: tires.map((tire) =>
          lineOf(gathered, tire, 'pressure', scene, { label: placeOf(tire), role: 'judged', most: MOST_SHARE_POINTS }),
        ),
      }),
      speedPlot(scene),
    ),
    saw: [
      last.length === 0
        ? [`No tire of it (${alert.subject}) was heard before in these data.`]
        : ['Its tires were last heard at ', { atS: atS(gathered, Math.max(...last)) }, '.'],
      ...(others.length === 0
        ? []
        : [
            [
              `${capital(counted(heard.length, 'tire'))} of the other ${others.length} were heard in the ten minutes before.`,
            ],
          ]),
    ],
    hints: [],
  };
};

/** Locations that the truck file does not have. */
export const layoutMismatch: Depict = (scene) => {
  const m = scene.alert.events[0]!.draft.measured;
  const never = tiresOf(scene.gathered).filter((tire) => seriesOf(scene.gathered, tire, 'pressure') === null);
  const where = m !== null && 'code' in m ? ` ${m.text}` : '';
  return {
    plots: plotsOf(speedPlot(scene)),
    saw: [
      [
        `Tire frames came from a place that the truck file does not have:${where === '' ? ' which is not known' : where}.`,
      ],
      never.length === 0
        ? ['All tires of the truck file were heard as well.']
        : [
            `Of the truck file ${counted(never.length, 'tire')} ${never.length === 1 ? 'was' : 'were'} never heard: ${listed(never.slice(0, 6).map(placeOf))}${never.length > 6 ? ' and more' : ''}.`,
          ],
    ],
    hints: [],
  };
};
