import { shown } from '../../config/show.js';
import type { Hint, Line, Plot, PlotLimit, Words } from '../data.js';
import { runningUntil } from './air-facts.js';
import { supplyHint, testsHint } from './air-hints.js';
import { airPlot, usePlot } from './air-plots.js';
import { type AirCycle, airCycles } from './air-records.js';
import { measuredWords } from './air-words.js';
import { applicationsIn } from './brake-applications.js';
import { risesOf } from './brake-words.js';
import { atS, counted, drawn, lasting, limitLines, plotOf, plotsOf, showOf, spanOf } from './kit.js';
import type { Depict, Picture, Scene } from './picture.js';

/** Points that stand for themselves. */
const ALONE_MS = 100;

/** air-builds-slowly: by its last build-ups, or by the engine's turns against those of its first days. */
export function slow(scene: Scene, hints: Hint[]): Picture {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const { fromKpa = Number.NaN, toKpa = Number.NaN } = alert.constants;
  const limits: PlotLimit[] = [
    { label: `build-up from ${shown(fromKpa, 'kPa', show)}`, kind: 'other' as const, value: fromKpa },
    { label: `to ${shown(toKpa, 'kPa', show)}`, kind: 'other' as const, value: toKpa },
  ]
    .filter(({ value }) => !Number.isNaN(value))
    .map((limit) => ({ ...limit, urgency: null, axis: 0 }));
  const saw = [...measuredWords(gathered, risesOf(alert)), ...lastWords(scene), ...turnsWords(scene)];
  return { plots: plotsOf(airPlot(scene, limits), turnsPlot(scene), usePlot(scene)), saw, hints };
}

/** The values that the event has counted, oldest first. */
function lastWords({ gathered, alert }: Scene): Words[] {
  const event = risesOf(alert).at(-1);
  const evidence = event?.draft.evidence ?? null;
  if (event === undefined || evidence === null || evidence.points.length === 0) return [];
  const show = showOf(gathered);
  const last = evidence.points.slice(-MOST_LAST);
  return [
    [
      `The last of them (${evidence.quantity}): `,
      ...last.flatMap(
        ([agoMs, value], i): Words => [
          `${i === 0 ? '' : ', '}${shown(value, evidence.unit, show)} at `,
          { atS: atS(gathered, event.atMs - agoMs) },
        ],
      ),
      '.',
    ],
  ];
}

const MOST_LAST = 5;

function turnsWords({ gathered }: Scene): Words[] {
  const turns = airCycles(gathered).flatMap(({ values }) => values.revolutionsPer100Kpa ?? []);
  if (turns.length === 0) return [];
  const range = `${Math.round(Math.min(...turns))} to ${Math.round(Math.max(...turns))}`;
  return [[`In ${counted(turns.length, 'cycle')} of these data the engine turned ${range} times for 100 kPa of air.`]];
}

/** Turns of the engine that each cycle took. */
function turnsPlot(scene: Scene): Plot | null {
  const line = byCycle(scene, ({ values }) => values.revolutionsPer100Kpa, 'rpm', {
    label: 'turns of the engine for 100 kPa of air',
    role: 'judged',
  });
  return wholePlot(
    scene,
    'Turns of the engine for 100 kPa of air, each cycle',
    { unit: 'rpm', label: 'turns' },
    [line],
    [],
  );
}

function byCycle(
  { gathered }: Scene,
  of: (cycle: AirCycle) => number | null,
  unit: string,
  look: Parameters<typeof drawn>[3],
): Line | null {
  const points = { atMs: [] as number[], value: [] as number[], gapMs: ALONE_MS };
  for (const cycle of airCycles(gathered)) {
    const value = of(cycle);
    if (value === null) continue;
    points.atMs.push(cycle.endMs);
    points.value.push(value);
  }
  return points.atMs.length === 0 ? null : drawn(gathered, points, unit, look);
}

/** What comes a few times a day is shown over everything that was gathered. */
function wholePlot(
  scene: Scene,
  title: string,
  axis: Plot['axes'][number],
  lines: (Line | null)[],
  limits: PlotLimit[],
): Plot | null {
  const whole = { ...scene, ...spanOf(scene.gathered) };
  return plotOf(whole, { title, axes: [axis], lines, limits });
}

/** Cut-ins and cut-outs of every cycle. */
function governorPlot(scene: Scene, judged: 'in' | 'out', limits: PlotLimit[]): Plot | null {
  const role = (which: 'in' | 'out'): Line['role'] => (which === judged ? 'judged' : 'context');
  const lines = [
    byCycle(scene, ({ values }) => values.cutInKpa, 'kPa', { label: 'cut-in', role: role('in') }),
    byCycle(scene, ({ values }) => values.cutOutKpa, 'kPa', { label: 'cut-out', role: role('out') }),
  ];
  const axis = { unit: 'kPa', label: 'air pressure' } as const;
  return wholePlot(scene, 'Cut-in and cut-out of each cycle', axis, lines, limits);
}

function governorWords({ gathered }: Scene): Words[] {
  const show = showOf(gathered);
  const cycles = airCycles(gathered);
  const range = (name: string, list: number[]): string =>
    list.length === 0
      ? `${name} not seen`
      : `${name} ${shown(Math.min(...list), 'kPa', show)} to ${shown(Math.max(...list), 'kPa', show)} (${list.length})`;
  const ins = cycles.flatMap(({ values }) => values.cutInKpa ?? []);
  const outs = cycles.flatMap(({ values }) => values.cutOutKpa ?? []);
  return [[`In ${counted(cycles.length, 'cycle')} of these data: ${range('cut-in', ins)}, ${range('cut-out', outs)}.`]];
}

function governed(scene: Scene, judged: 'in' | 'out', limits: PlotLimit[]): Picture {
  const { gathered, alert } = scene;
  const hint = supplyHint(gathered);
  return {
    plots: plotsOf(governorPlot(scene, judged, limits), airPlot(scene, limits), usePlot(scene)),
    saw: [...measuredWords(gathered, risesOf(alert)), ...lastWords(scene), ...governorWords(scene)],
    hints: hint === null ? [] : [hint],
  };
}

/** air-cut-in-low: a bus has another limit than what the levels say. */
export const cutIn: Depict = (scene) => {
  const limits = limitLines(scene, { axis: 0, unit: 'kPa' });
  const { busKpa } = scene.alert.constants;
  if (scene.gathered.config?.vehicle !== 'bus' || busKpa === undefined) return governed(scene, 'in', limits);
  const label = `plan: raise below ${shown(busKpa, 'kPa', showOf(scene.gathered))} (bus)`;
  return governed(scene, 'in', [{ label, kind: 'raise', urgency: 'plan', axis: 0, value: busKpa }]);
};

export const cutOut: Depict = (scene) => governed(scene, 'out', limitLines(scene, { axis: 0, unit: 'kPa' }));

/** Applications in an hour that a compressor is busy with. */
const MANY_AN_HOUR = 60;

/** compressor-overworked: what it pumped for, by tests and by use. */
export const overworked: Depict = (scene) => {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const windowMs = (alert.constants.windowS ?? 3600) * 1000;
  const fromMs = Math.max(spanOf(gathered).fromMs, alert.fromMs - windowMs);
  const applications = applicationsIn(gathered, { fromMs, toMs: alert.fromMs });
  const usedKpa = applications.reduce((sum, { values }) => sum + (values.airUsedKpa ?? 0), 0);
  const hours = (alert.fromMs - fromMs) / 3_600_000;
  const saw: Words[] = [
    ...measuredWords(gathered, risesOf(alert)),
    [
      `In the ${lasting((alert.fromMs - fromMs) / 1000)} before, the brakes were pressed ${applications.length} times and took ${shown(usedKpa, 'kPa', show)} out of the circuits in all, as far as it was seen.`,
    ],
    ...turnsWords(scene),
  ];
  const use: Hint | null =
    hours > 0.25 && applications.length / hours >= MANY_AN_HOUR
      ? {
          points: 'unclear',
          words: [
            `${Math.round(applications.length / hours)} applications an hour are much use: a sound compressor is busy with that, too.`,
          ],
        }
      : null;
  const hints = [testsHint(gathered, alert.toMs ?? spanOf(gathered).toMs), use].filter((x) => x !== null);
  return { plots: plotsOf(sharePlot(scene, windowMs), airPlot(scene, []), usePlot(scene)), saw, hints };
};

const STEP_MS = 5 * 60_000;
const MOST_STEPS = 600;

/** Share of the running time in the window before each instant; where engine speed was not kept, of the clock. */
function sharePlot(scene: Scene, windowMs: number): Plot | null {
  const { gathered } = scene;
  const cycles = airCycles(gathered);
  const { fromMs, toMs } = spanOf(gathered);
  if (cycles.length === 0 || toMs - fromMs < windowMs / 2) return null;
  const running = runningUntil(gathered);
  const step = Math.max(STEP_MS, (toMs - fromMs) / MOST_STEPS);
  const points = { atMs: [] as number[], value: [] as number[], gapMs: step * 1.5 };
  for (let at = fromMs + windowMs / 2; at <= toMs; at += step) {
    const from = Math.max(fromMs, at - windowMs);
    const ranMs = running === null ? at - from : running(at) - running(from);
    if (ranMs < windowMs / 4) continue;
    let ms = 0;
    for (const { startMs, endMs } of cycles) ms += Math.max(0, Math.min(endMs, at) - Math.max(startMs, from));
    points.atMs.push(at);
    points.value.push(Math.min(1, ms / ranMs));
  }
  if (points.atMs.length === 0) return null;
  const of = running === null ? 'of the time' : 'of the time with the engine running';
  const line = drawn(gathered, points, 'share', { label: `pumping, ${of}`, role: 'judged' });
  const limits = limitLines(scene, { axis: 0, unit: 'share' });
  const title = `Pumping in the ${lasting(windowMs / 1000)} before, ${of}`;
  return wholePlot(scene, title, { unit: 'share', label: 'pumping' }, [line], limits);
}
