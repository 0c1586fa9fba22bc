import type { TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Line, Plot, PlotLimit, PlotSpan } from '../data.js';
import { type AirTest, airCycles, airTests, isEven } from './air-records.js';
import { applicationLine, applicationSpans, SPEED_AXIS } from './brake-plots.js';
import { atS, capital, drawn, lineOf, plotOf, pointsOf, showOf, type Window } from './kit.js';
import type { Scene } from './picture.js';

export const CIRCUITS = ['air/primary', 'air/secondary'] as const;
export const SUPPLY = 'air/supply';

/** More cannot be told apart in one plot; the longest stay. */
const MOST_SPANS = 300;

/** Both circuits and the supply within a window. */
export function airLines(scene: Scene | (Window & Pick<Scene, 'gathered'>), most?: number): Line[] {
  const line = (subject: string, role: Line['role']): Line | null =>
    lineOf(scene.gathered, subject, 'pressure', scene, {
      label: placeOf(subject),
      role,
      ...(most !== undefined && { most }),
    });
  return [...CIRCUITS.map((subject) => line(subject, 'judged')), line(SUPPLY, 'context')].filter((x) => x !== null);
}

/** Circuits, supply and engine speed around an alert, with pumping, tests and applications. */
export function airPlot(scene: Scene, limits: PlotLimit[]): Plot | null {
  const lines = airLines(scene);
  if (lines.length === 0) return null;
  const rpm = lineOf(scene.gathered, 'tractor', 'engine speed', scene, {
    label: 'engine speed',
    role: 'context',
    axis: 1,
  });
  return plotOf(scene, {
    title: 'Air pressure',
    axes: [{ unit: 'kPa', label: 'air pressure' }, ...(rpm === null ? [] : [RPM_AXIS])],
    lines: [...lines, rpm],
    limits,
    spans: [...pumpingSpans(scene), ...testSpans(scene), ...applicationSpans(scene)],
  });
}

const RPM_AXIS = { unit: 'rpm', label: 'engine speed' } as const;

/** What the air was used for: how hard the brakes were pressed, and the speed. */
export function usePlot(scene: Scene): Plot | null {
  const speed = lineOf(scene.gathered, 'tractor', 'speed', scene, { label: 'speed', role: 'context', axis: 1 });
  const pressure = applicationLine(scene, 0);
  if (pressure === null) return null;
  return plotOf(scene, {
    title: 'Brake applications and speed',
    axes: [{ unit: 'kPa', label: 'application pressure' }, ...(speed === null ? [] : [SPEED_AXIS])],
    lines: [pressure, speed],
    spans: applicationSpans(scene),
    isContext: true,
  });
}

type View = Window & Pick<Scene, 'gathered'>;

/** While the compressor pumped. */
export function pumpingSpans(view: View): PlotSpan[] {
  const cycles = airCycles(view.gathered).filter((c) => c.endMs >= view.fromMs && c.startMs <= view.toMs);
  return longest(cycles).map(({ startMs, endMs }) => span(view, 'pumping', startMs, endMs, ''));
}

/** Leak tests; both circuits are tested in the same piece of time. */
export function testSpans(view: View): PlotSpan[] {
  const pieces = new Map<string, AirTest>();
  for (const test of airTests(view.gathered)) {
    if (test.endMs < view.fromMs || test.startMs > view.toMs) continue;
    pieces.set(`${test.startMs} ${test.endMs}`, test);
  }
  return longest([...pieces.values()]).map(({ startMs, endMs, values }) =>
    span(view, 'leak-test', startMs, endMs, `leak test, brakes ${values.state}`),
  );
}

function longest<T extends { startMs: number; endMs: number }>(list: T[]): T[] {
  if (list.length <= MOST_SPANS) return list;
  const ranked = [...list].sort((a, b) => b.endMs - b.startMs - (a.endMs - a.startMs) || a.startMs - b.startMs);
  return ranked.slice(0, MOST_SPANS).sort((a, b) => a.startMs - b.startMs);
}

function span(view: View, kind: PlotSpan['kind'], startMs: number, endMs: number, label: string): PlotSpan {
  const fromS = atS(view.gathered, Math.max(startMs, view.fromMs));
  return { kind, fromS, toS: atS(view.gathered, Math.min(endMs, view.toMs)), label };
}

/** What is seen before and after the piece itself. */
const AROUND_MS = 30_000;
/** The first point of a piece is the mean of the readings of so long before it (daemon/monitors/air-piece.ts). */
const POINT_MS = 5_000;

/** A test lasts five minutes at most, and there may be many. */
const MOST_TEST_POINTS = 150;

/**
 * One leak test: readings of its circuit through it, the slope that was found and the one that is allowed. null: no readings.
 * @param isWithMate with the other circuit in the same piece of time
 */
export function testPlot(gathered: Scene['gathered'], test: AirTest, isWithMate = false): Plot | null {
  const { startMs, endMs, values } = test;
  const window = { fromMs: startMs - AROUND_MS, toMs: endMs + AROUND_MS };
  const own = testLine(gathered, values.circuit, window, 'judged');
  const start = pointsOf(gathered, values.circuit, 'pressure', startMs - POINT_MS + 1, startMs);
  if (own === null || start === null) return null;
  const other = values.circuit === CIRCUITS[0] ? CIRCUITS[1] : CIRCUITS[0];
  const mate = isWithMate ? testLine(gathered, other, window, 'mate') : null;
  const fromKpa = start.value.reduce((a, b) => a + b, 0) / start.value.length;
  const slope = (label: string, kpaPerMin: number): Line => slopeLine(gathered, test, label, fromKpa, kpaPerMin);
  const uneven = values.kpaPerMin >= values.limit && !isEven(values) ? ', fell unevenly: not counted as a leak' : '';
  return {
    title: `${capital(placeOf(values.circuit))}, brakes ${values.state}${uneven}`,
    fromS: atS(gathered, window.fromMs),
    toS: atS(gathered, window.toMs),
    axes: [{ unit: 'kPa', label: 'air pressure' }],
    lines: [own, ...(mate === null ? [] : [mate]), slope('found', values.kpaPerMin), slope('allowed', values.limit)],
    limits: [],
    spans: [
      { kind: 'leak-test', fromS: atS(gathered, startMs), toS: atS(gathered, endMs), label: `${values.seconds} s` },
    ],
    marks: [],
  };
}

/** null: no readings, or minutes only. */
function testLine(gathered: Scene['gathered'], circuit: string, window: Window, role: Line['role']): Line | null {
  const points = pointsOf(gathered, circuit, 'pressure', window.fromMs, window.toMs);
  if (points === null || points.low !== undefined) return null;
  return drawn(gathered, points, 'kPa', { label: placeOf(circuit), role, most: MOST_TEST_POINTS });
}

function slopeLine(
  gathered: Scene['gathered'],
  { startMs, endMs, values }: AirTest,
  label: string,
  fromKpa: number,
  kpaPerMin: number,
): Line {
  const toKpa = fromKpa - (kpaPerMin * values.seconds) / 60;
  const ends = { atMs: [startMs, endMs], value: [fromKpa, toKpa], gapMs: endMs - startMs };
  const rate = shown(kpaPerMin, 'kPa/min', showOf(gathered));
  return drawn(gathered, ends, 'kPa', { label: `${label}: ${rate}`, role: 'context' });
}

/** Limits of the rules on pressures that are on, for the whole air system. */
export function airLimits(config: TruckConfig | null): PlotLimit[] {
  if (config === null) return [];
  const { rules, show } = config;
  const limits: PlotLimit[] = [];
  const add = (
    rule: 'air-low' | 'air-cut-in-low' | 'air-cut-out-high',
    words: string,
    kind: 'raise' | 'clear',
  ): void => {
    if (!rules[rule].enabled) return;
    for (const criterion of Object.values(rules[rule].criteria)) {
      const isBus = config.vehicle === 'bus' && rule === 'air-cut-in-low';
      const value = isBus ? (rules[rule].constants.busKpa ?? null) : criterion[kind];
      if (value === null) continue;
      const label = `${words} ${shown(value, 'kPa', show)}`;
      limits.push({ label, kind, urgency: criterion.urgency, axis: 0, value });
    }
  };
  add('air-low', 'low air at', 'raise');
  add('air-low', 'low air over at', 'clear');
  add('air-cut-in-low', 'cut-in is low below', 'raise');
  add('air-cut-out-high', 'cut-out is high above', 'raise');
  return limits;
}
