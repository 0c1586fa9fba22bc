import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Words } from '../data.js';
import { applicationsIn } from './brake-applications.js';
import { hints } from './brake-hints.js';
import { applicationLine, applicationSpans, temperatureLine, temperaturePlot } from './brake-plots.js';
import { atS, lasting, listed, plotOf, plotsOf, pointsOf, showOf, spanOf, tiresOf } from './kit.js';
import type { Depict, Scene } from './picture.js';

/** How long before the warning the brakes were looked at, and what share of it is hard use. */
const USE_MS = 10 * 60_000;
const HARD_SHARE = 0.2;
const MOST_TIRES = 6;

/** brake-hot: the controller's own warning for all brakes together. */
export const hot: Depict = (scene) => {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const hottest = hottestTires(scene);
  const lines = hottest.map(({ tire }) => temperatureLine(scene, tire, 'mate')).filter((line) => line !== null);
  const pressure = plotOf(scene, {
    title: 'Brake applications',
    axes: [{ unit: 'kPa', label: 'application pressure' }],
    lines: [applicationLine(scene, 0)],
    spans: applicationSpans(scene),
  });
  const saw: Words[] = [['The brake controller gave its own warning that a brake is too hot; it does not say which.']];
  const share = brakingShare(scene, alert.fromMs);
  if (share !== null)
    saw.push([
      `In the ${lasting(share.seconds)} before, the brakes were pressed for ${shown(share.share, 'share', show)} of the time.`,
    ]);
  if (hottest.length > 0)
    saw.push([
      `The hottest tires meanwhile: ${listed(hottest.slice(0, 3).map(({ tire, celsius }) => `${placeOf(tire)} ${shown(celsius, '°C', show)}`))}.`,
    ]);
  const use: Hint | null =
    share !== null && share.share >= HARD_SHARE
      ? {
          points: 'unclear',
          words: ['The brakes were in hard use before: heat is what it leads to, with all brakes sound too.'],
        }
      : null;
  const title = 'The hottest tires, and speed';
  return { plots: plotsOf(temperaturePlot(scene, title, lines), pressure), saw, hints: hints(use, dragsHint(scene)) };
};

/** Share of the time before an instant with the brakes pressed; null: the data do not go back far enough. */
function brakingShare({ gathered }: Scene, atMs: number): { seconds: number; share: number } | null {
  const fromMs = Math.max(spanOf(gathered).fromMs, atMs - USE_MS);
  const ms = atMs - fromMs;
  if (ms < USE_MS / 2) return null;
  let pressed = 0;
  for (const { startMs, endMs } of applicationsIn(gathered, { fromMs, toMs: atMs }))
    pressed += Math.min(endMs, atMs) - Math.max(startMs, fromMs);
  return { seconds: ms / 1000, share: Math.min(1, pressed / ms) };
}

function hottestTires({ gathered, fromMs, toMs }: Scene): { tire: string; celsius: number }[] {
  return tiresOf(gathered)
    .flatMap((tire) => {
      const points = pointsOf(gathered, tire, 'temperature', fromMs, toMs);
      return points === null ? [] : [{ tire, celsius: Math.max(...(points.high ?? points.value)) }];
    })
    .sort((a, b) => b.celsius - a.celsius)
    .slice(0, MOST_TIRES);
}

function dragsHint({ gathered, fromMs, toMs }: Scene): Hint | null {
  const found = gathered.events.find(
    ({ atMs, draft }) => draft.rule === 'brake-dragging' && atMs >= fromMs && atMs <= toMs,
  );
  if (found === undefined) return null;
  return {
    points: 'real',
    words: [`${found.draft.place}: that brake was told to drag, at `, { atS: atS(gathered, found.atMs) }, '.'],
  };
}
