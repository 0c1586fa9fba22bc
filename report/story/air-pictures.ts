import type { RuleName } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Plot, PlotLimit, Words } from '../data.js';
import { differenceOf, fallBegan, fallOf } from './air-facts.js';
import { backHint, circuitsHint, disputedHint, stuckHint, testsHint, unfedHint, useHint } from './air-hints.js';
import { cutIn, cutOut, overworked, slow } from './air-making.js';
import { airPlot, CIRCUITS, testPlot, usePlot } from './air-plots.js';
import type { AirTest } from './air-records.js';
import { fallWords, laterTests, measuredWords, piecesOf, pieceWords, testsBefore } from './air-words.js';
import { risesOf } from './brake-words.js';
import { atS, drawn, limitLines, plotOf, plotsOf, pointsOf, showOf, spanOf, type Window } from './kit.js';
import type { Depict, Scene } from './picture.js';

const some = (...list: (Hint | null)[]): Hint[] => list.filter((x) => x !== null);
const pressureLimits = (scene: Scene): PlotLimit[] => limitLines(scene, { axis: 0, unit: 'kPa' });
const endOf = ({ gathered, alert }: Scene): number => alert.toMs ?? spanOf(gathered).toMs;

/** The circuit that is lower at an instant; null: none is heard. */
function lowerOf({ gathered }: Scene, atMs: number): string | null {
  const window = { fromMs: atMs - 5_000, toMs: atMs + 1_000 };
  const falls = CIRCUITS.map((circuit) => fallOf(gathered, circuit, window)).filter((fall) => fall !== null);
  falls.sort((a, b) => a.toKpa - b.toKpa);
  return falls[0]?.circuit ?? null;
}

/** From where the lower circuit was highest until the alert was raised. */
function fallWindow(scene: Scene): { circuit: string; window: Window } | null {
  const { gathered, alert } = scene;
  const circuit = lowerOf(scene, alert.fromMs);
  const fromMs = circuit === null ? null : fallBegan(gathered, circuit, alert.fromMs);
  if (circuit === null || fromMs === null || fromMs >= alert.fromMs) return null;
  return { circuit, window: { fromMs, toMs: alert.fromMs } };
}

/** A circuit that is not fed falls alone and with use: nothing more is to be said of it then. */
function fallHints({ gathered, alert }: Scene, { circuit, window }: NonNullable<ReturnType<typeof fallWindow>>) {
  const around = { fromMs: window.fromMs - AROUND_MS, toMs: alert.fromMs + AROUND_MS };
  const unfed = unfedHint(gathered, around);
  return unfed === null ? [circuitsHint(gathered, window), useHint(gathered, circuit, window)] : [unfed];
}

const low: Depict = (scene) => {
  const { gathered, alert } = scene;
  const fall = fallWindow(scene);
  const saw = measuredWords(gathered, risesOf(alert));
  const hints = [disputedHint(alert), backHint(gathered, alert, alert.fromMs)];
  if (fall !== null) {
    saw.push(...fallWords(gathered, fall.window));
    hints.unshift(...fallHints(scene, fall));
  }
  saw.push(...lowestWords(scene));
  return { plots: plotsOf(airPlot(scene, pressureLimits(scene)), usePlot(scene)), saw, hints: some(...hints) };
};

/** How low the circuits got while the alert was open. */
function lowestWords(scene: Scene): Words[] {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const lows = CIRCUITS.flatMap((circuit) => {
    const points = pointsOf(gathered, circuit, 'pressure', alert.fromMs, endOf(scene));
    if (points === null) return [];
    const lowest = (points.low ?? points.value).reduce((a, b) => Math.min(a, b));
    return [`${placeOf(circuit)} ${shown(lowest, 'kPa', show)}`];
  });
  return lows.length === 0 ? [] : [[`Lowest while it lasted: ${lows.join(', ')}.`]];
}

/** Tests that led to the raise, as far back as any level looks. */
const MOST_TESTS = 6;

const leaking: Depict = (scene) => {
  const { gathered, alert } = scene;
  const tests = testsBefore(gathered, alert.fromMs).slice(0, MOST_TESTS).reverse();
  const pieces = piecesOf(tests);
  const plots = pieces.map(([worst]) => testPlot(gathered, worst!, true));
  return {
    plots: plotsOf(airPlot(scene, []), ...plots, usePlot(scene)),
    saw: [
      ...measuredWords(gathered, risesOf(alert)),
      ...pieces.map((piece) => pieceWords(gathered, piece)),
      ...laterTests(gathered, alert.fromMs),
    ],
    hints: leakHints(scene, tests),
  };
};

function leakHints(scene: Scene, tests: readonly AirTest[]): Hint[] {
  const state = leakStateHint(scene);
  // Behind the valve both circuits have their own brakes: nothing there is common to both.
  return some(leakSideHint(tests, state === null || !state.isApplied), state === null ? null : state.hint);
}

/** Two circuits that lose at rates within this of each other lose alike. */
const ALIKE = 0.6;
const ALONE = 0.3;

/** Which circuit loses air? Of the pieces in which both were tested. */
function leakSideHint(tests: readonly AirTest[], isBeforeValve: boolean): Hint | null {
  const rates = CIRCUITS.map((circuit) => {
    const of = tests.filter(({ values }) => values.circuit === circuit).map(({ values }) => values.kpaPerMin);
    return of.length === 0 ? Number.NaN : of.reduce((a, b) => a + b, 0) / of.length;
  }) as [number, number];
  if (rates.some(Number.isNaN) || Math.max(...rates) <= 0) return null;
  const worse = rates[0] >= rates[1] ? 0 : 1;
  const share = Math.max(0, rates[1 - worse]!) / rates[worse]!;
  if (share >= ALIKE && !isBeforeValve) return null;
  if (share >= ALIKE)
    return {
      points: 'real',
      words: [
        'Both circuits lose air alike, and two sensors agree: look at what both feed or what feeds both, e.g. supply, dryer, trailer lines, suspension.',
      ],
    };
  if (share > ALONE) return null;
  return {
    points: 'real',
    words: [
      `Nearly all of it goes from the ${placeOf(CIRCUITS[worse])}: look there, from its reservoir to its brakes.`,
    ],
  };
}

/** A leak with the brakes applied only is behind the valve. */
function leakStateHint({ gathered, alert }: Scene): { isApplied: boolean; hint: Hint } | null {
  const share = (state: AirTest['values']['state']): number => {
    const last = testsBefore(gathered, alert.fromMs).filter(({ values }) => values.state === state);
    return last.length === 0
      ? Number.NaN
      : Math.max(...last.slice(0, 4).map(({ values }) => values.kpaPerMin / values.limit));
  };
  const [released, applied] = [share('released'), share('applied')];
  const hint = (words: string): Hint => ({ points: 'real', words: [words] });
  if (applied >= 1 && released < 0.5)
    return {
      isApplied: true,
      hint: hint(
        'It loses air with the brakes applied and hardly any with them released: look behind the brake valve, at hoses, chambers and relay valves.',
      ),
    };
  if (released >= 1 && applied < 1)
    return {
      isApplied: false,
      hint: hint(
        'It loses air with the brakes released, and not too much more with them applied: look before the brake valve, at reservoirs, lines and what else hangs on them.',
      ),
    };
  return null;
}

const unequal: Depict = (scene) => {
  const { gathered, alert } = scene;
  const fall = fallWindow(scene);
  const window = { fromMs: alert.fromMs, toMs: endOf(scene) };
  const saw: Words[] = [...measuredWords(gathered, risesOf(alert)), ...greatestWords(scene, window)];
  if (fall !== null) saw.push(...fallWords(gathered, fall.window));
  const around = { fromMs: alert.fromMs - AROUND_MS, toMs: Math.min(window.toMs, alert.fromMs + AROUND_MS) };
  return {
    plots: plotsOf(differencePlot(scene), airPlot(scene, []), usePlot(scene)),
    saw,
    hints: some(disputedHint(alert), stuckHint(gathered, around), ...(fall === null ? [] : fallHints(scene, fall))),
  };
};

const AROUND_MS = 15 * 60_000;

const differenceIn = ({ gathered }: Scene, { fromMs, toMs }: Window) =>
  differenceOf(
    pointsOf(gathered, CIRCUITS[0], 'pressure', fromMs, toMs),
    pointsOf(gathered, CIRCUITS[1], 'pressure', fromMs, toMs),
  );

function differencePlot(scene: Scene): Plot | null {
  const points = differenceIn(scene, scene);
  if (points === null) return null;
  return plotOf(scene, {
    title: 'Difference of the two service circuits',
    axes: [{ unit: 'kPa', label: 'difference' }],
    lines: [drawn(scene.gathered, points, 'kPa', { label: 'difference', role: 'judged' })],
    limits: pressureLimits(scene),
  });
}

function greatestWords(scene: Scene, window: Window): Words[] {
  const points = differenceIn(scene, window);
  if (points === null) return [];
  let most = 0;
  for (const [i, value] of points.value.entries()) if (value > points.value[most]!) most = i;
  const { gathered } = scene;
  return [
    [
      `While it lasted the difference was ${shown(points.value[most]!, 'kPa', showOf(gathered))} at most, at `,
      { atS: atS(gathered, points.atMs[most]!) },
      '.',
    ],
  ];
}

/** What each rule on air has to show. */
export const AIR_PICTURES: Partial<Record<RuleName, Depict>> = {
  'air-low': low,
  'air-leaking': leaking,
  'air-builds-slowly': (scene) => slow(scene, some(testsHint(scene.gathered, endOf(scene)))),
  'air-cut-in-low': cutIn,
  'air-cut-out-high': cutOut,
  'compressor-overworked': overworked,
  'circuits-unequal': unequal,
};
