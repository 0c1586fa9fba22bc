import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Line, Plot, PlotLimit, PlotSpan } from '../data.js';
import { applicationsIn, type BrakeApplication } from './brake-applications.js';
import { bandOf, limitOf, otherSide, qualifyingKpa, type Result } from './brake-results.js';
import { atS, drawn, lineOf, plotOf, pointsOf, showOf, speedPlot, tiresOf, wheelEndOf } from './kit.js';
import type { Scene } from './picture.js';
import { steppedLine } from './steps.js';

/** More cannot be told apart in one plot; those that count come first. */
const MOST_SPANS = 150;
/** Of one application that is drawn by itself: no two points are joined. */
const ALONE_MS = 100;

const PRESSURE_AXIS = { unit: 'kPa', label: 'application pressure' } as const;
const pressureAxis = (line: Line | null): Plot['axes'] => (line === null ? [] : [PRESSURE_AXIS]);

/** Applications as spans; what counted says what it was counted for. */
export function applicationSpans(scene: Scene, results: readonly Result[] = [], holding = ''): PlotSpan[] {
  const counted = new Map(results.map((r) => [r.application, r]));
  const all = applicationsIn(scene.gathered, scene);
  const ranked = all.map((x, i) => ({ x, i, result: counted.get(x) }));
  if (all.length > MOST_SPANS) {
    const rank = ({ result }: (typeof ranked)[number]): number => (result === undefined ? 0 : result.holds ? 2 : 1);
    ranked.sort((a, b) => rank(b) - rank(a) || (b.x.values.peakKpa ?? 0) - (a.x.values.peakKpa ?? 0) || a.i - b.i);
    ranked.length = MOST_SPANS;
    ranked.sort((a, b) => a.i - b.i);
  }
  return ranked.map(({ x, result }) => ({
    kind: 'application',
    fromS: atS(scene.gathered, Math.max(x.startMs, scene.fromMs)),
    toS: atS(scene.gathered, Math.min(x.endMs, scene.toMs)),
    label: result === undefined ? '' : result.holds ? `counts: ${holding}` : 'counts: good',
  }));
}

/** How hard the brakes were pressed: as it was sent, else the greatest pressure of each application. */
export function applicationLine(scene: Scene, axis: 0 | 1): Line | null {
  const look = { label: 'application pressure', role: 'context', axis } as const;
  const line = lineOf(scene.gathered, 'brakes', 'application pressure', scene, look);
  const peaks = { ...look, label: 'peak of each application' };
  return line ?? byApplication(scene, ({ values }) => values.peakKpa, 'kPa', peaks);
}

/** Measured stroke of a wheel end and of the other side of its axle, with the legal limit. */
export function strokePlot(scene: Scene, spans: PlotSpan[], limits: PlotLimit[]): Plot | null {
  const { subject } = scene.alert;
  const [own, other] = [strokeLine(scene, subject, 'judged'), strokeLine(scene, otherSide(subject), 'mate')];
  if (own === null && other === null) return null;
  const pressure = applicationLine(scene, 1);
  return plotOf(scene, {
    title: 'Pushrod stroke',
    axes: [{ unit: 'mm', label: 'pushrod stroke' }, ...pressureAxis(pressure)],
    lines: [own, other, pressure],
    limits: limits.filter(({ axis }) => axis === 0 || pressure !== null),
    spans,
  });
}

function strokeLine(scene: Scene, subject: string, role: 'judged' | 'mate'): Line | null {
  const look = { label: placeOf(subject), role };
  const line = lineOf(scene.gathered, subject, 'stroke', scene, look);
  const greatest = { ...look, label: `${placeOf(subject)}, greatest of each application` };
  return line ?? byApplication(scene, ({ values }) => values.wheels[subject]?.strokeMm ?? null, 'mm', greatest);
}

/** The state that the sender gives of a wheel end and of the other side of its axle. */
export function statePlot(scene: Scene, spans: PlotSpan[], limits: PlotLimit[] = []): Plot | null {
  const { subject } = scene.alert;
  const [own, other] = [stateLine(scene, subject, 'judged'), stateLine(scene, otherSide(subject), 'mate')];
  if (own === null && other === null) return null;
  const pressure = applicationLine(scene, 1);
  return plotOf(scene, {
    title: 'Stroke state, as its sender says it',
    axes: [{ unit: 'state', label: 'stroke state' }, ...pressureAxis(pressure)],
    lines: [own, other, pressure],
    limits: limits.filter(({ axis }) => axis === 0 || pressure !== null),
    spans,
  });
}

function stateLine(scene: Scene, subject: string, role: 'judged' | 'mate'): Line | null {
  const look = { label: placeOf(subject), role };
  const line = steppedLine(
    scene.gathered,
    pointsOf(scene.gathered, subject, 'stroke state', scene.fromMs, scene.toMs),
    look,
  );
  const worst = { ...look, label: `${placeOf(subject)}, worst of each application` };
  return line ?? byApplication(scene, ({ values }) => values.wheels[subject]?.code ?? null, '', worst);
}

/** One point for each application in which there was something to tell. */
function byApplication(
  scene: Scene,
  of: (application: BrakeApplication) => number | null,
  unit: string,
  look: Parameters<typeof drawn>[3],
): Line | null {
  const points = { atMs: [] as number[], value: [] as number[], gapMs: ALONE_MS };
  for (const application of applicationsIn(scene.gathered, scene)) {
    const value = of(application);
    if (value === null) continue;
    points.atMs.push(application.startMs);
    points.value.push(value);
  }
  return points.atMs.length === 0 ? null : drawn(scene.gathered, points, unit, look);
}

/** The legal limit of the wheel end's chamber, and from where on it is far beyond it; none where the chamber is not known. */
export function strokeLimits(scene: Scene, farMm: number): PlotLimit[] {
  const limitMm = limitOf(scene.gathered, scene.alert.subject);
  if (Number.isNaN(limitMm)) return [];
  const show = showOf(scene.gathered);
  const limits: PlotLimit[] = [
    {
      label: `legal limit ${shown(limitMm, 'mm', show)}: more is too long`,
      kind: 'raise',
      urgency: 'next-stop',
      axis: 0,
      value: limitMm,
    },
  ];
  if (farMm > 0)
    limits.push({
      label: `far beyond it: ${shown(limitMm + farMm, 'mm', show)}`,
      kind: 'raise',
      urgency: 'pull-over',
      axis: 0,
      value: Math.round((limitMm + farMm) * 100) / 100,
    });
  return limits;
}

/** Where pressures matter to what is counted; none where no truck file is known. */
export function pressureLimits(scene: Scene, way: 'state' | 'stroke'): PlotLimit[] {
  const { gathered } = scene;
  const show = showOf(gathered);
  const limit = (label: string, value: number): PlotLimit => ({ label, kind: 'other', urgency: null, axis: 1, value });
  const least = qualifyingKpa(gathered.config?.rules);
  if (way === 'state') return least === null ? [] : [limit(`counts from ${shown(least, 'kPa', show)} on`, least)];
  const band = bandOf(gathered);
  if (band === null) return [];
  return [
    limit(`judged from ${shown(band.lowKpa, 'kPa', show)} on`, band.lowKpa),
    limit(`judged up to ${shown(band.highKpa, 'kPa', show)}`, band.highKpa),
  ];
}

/** Tires of a wheel end. */
export const tiresAt = (scene: Pick<Scene, 'gathered'>, wheelEnd: string): string[] =>
  tiresOf(scene.gathered).filter((tire) => wheelEndOf(tire) === wheelEnd);

/** A brake that drags heats the tires at its wheel end: these and those of the other side, and the speed. */
export function heatPlot(scene: Scene): Plot | null {
  const { subject } = scene.alert;
  const lines = [
    ...tiresAt(scene, subject).map((tire) => temperatureLine(scene, tire, 'judged')),
    ...tiresAt(scene, otherSide(subject)).map((tire) => temperatureLine(scene, tire, 'mate')),
  ].filter((line) => line !== null);
  return temperaturePlot(scene, 'Tires at this wheel end and at the other side', lines);
}

/** Temperatures with the speed; without any, the speed alone. */
export function temperaturePlot(scene: Scene, title: string, lines: Line[]): Plot | null {
  if (lines.length === 0) return speedPlot(scene);
  const speed = lineOf(scene.gathered, 'tractor', 'speed', scene, { label: 'speed', role: 'context', axis: 1 });
  return plotOf(scene, {
    title,
    axes: [{ unit: '°C', label: 'tire temperature' }, ...(speed === null ? [] : [SPEED_AXIS])],
    lines: [...lines, speed],
  });
}

export const SPEED_AXIS = { unit: 'km/h', label: 'speed' } as const;

export const temperatureLine = (scene: Scene, tire: string, role: Line['role']): Line | null =>
  lineOf(scene.gathered, tire, 'temperature', scene, { label: placeOf(tire), role });
