import { URGENCIES } from '../config/resolved.js';
import type { AlertStory, BrakeSection, Line, Plot, ReportData } from './data.js';
import { thinLine } from './thin-line.js';

/** Lines are drawn with so many points each, in the order of trial. */
const POINTS = [1_000, 500, 250, 120, 60];
/** Rows of each list that remain when nothing else helps. */
const LEAST_ROWS = 500;

/**
 * The report so that it takes no more than `mostBytes`, as `bytesOf` counts them, and says in its notes what that has cost. In
 * this order: fewer points of each line, plots of the least urgent alerts, their whole stories, soft brake applications, rows
 * of long lists.
 */
export function fitReport(data: ReportData, mostBytes: number, bytesOf: (part: unknown) => number): ReportData {
  // What is noted of it needs room too.
  const most = mostBytes - 2_000;
  const fits = (one: ReportData): boolean => bytesOf(one) <= most;
  if (bytesOf(data) <= mostBytes) return data;
  let fitted = data;
  for (const points of POINTS) {
    fitted = withLines(data, (line) => thinLine(line, points));
    if (fits(fitted)) return noted(fitted, `its lines are drawn with about ${points} points each, extremes among them`);
  }
  let cost = `its lines are drawn with about ${POINTS.at(-1)!} points each, extremes among them`;
  const order = leastUrgentFirst(fitted.alerts);
  const over = (): number => bytesOf(fitted) - most;
  const bare = firstThat(order, over(), ({ plots }) => bytesOf(plots));
  fitted = { ...fitted, alerts: fitted.alerts.map((one) => (bare.has(one.id) ? { ...one, plots: [] } : one)) };
  cost += `; ${bare.size} of the less urgent alerts have no plots`;
  if (fits(fitted)) return noted(fitted, cost);
  const gone = firstThat(leastUrgentFirst(fitted.alerts), over(), bytesOf);
  fitted = {
    ...fitted,
    alerts: fitted.alerts.filter(({ id }) => !gone.has(id)),
    alertsLeftOut: fitted.alertsLeftOut + gone.size,
  };
  if (gone.size > 0) cost += `; ${gone.size} of the less urgent alerts are only told at a glance`;
  while (!fits(fitted) && (fitted.brakes?.applications.s.length ?? 0) > LEAST_ROWS)
    fitted = { ...fitted, brakes: halfOf(fitted.brakes!) };
  if (fitted.brakes !== data.brakes) cost += '; only the harder brake applications are shown';
  if (!fits(fitted)) {
    fitted = shortened(fitted);
    cost += `; of long lists the first ${LEAST_ROWS} rows are shown`;
  }
  return noted(fitted, cost);
}

function noted(data: ReportData, cost: string): ReportData {
  return { ...data, notes: [...data.notes, `The report would be too large for one file: ${cost}.`] };
}

/** Ids of the first ones that together take at least so many bytes. */
function firstThat(order: readonly AlertStory[], bytes: number, bytesOf: (one: AlertStory) => number): Set<string> {
  const ids = new Set<string>();
  let sum = 0;
  for (const one of order) {
    if (sum >= bytes) break;
    sum += bytesOf(one);
    ids.add(one.id);
  }
  return ids;
}

/** Consequences and messages about the system before causes and equipment of the same urgency; later ones before earlier ones. */
function leastUrgentFirst(alerts: readonly AlertStory[]): AlertStory[] {
  const weight = ({ worst, kind, cause }: AlertStory): number =>
    4 * URGENCIES.indexOf(worst) + (kind === 'equipment' ? 2 : 0) + (cause === null ? 1 : 0);
  return [...alerts].sort((a, b) => weight(a) - weight(b) || b.fromS - a.fromS);
}

function withLines(data: ReportData, change: (line: Line) => Line): ReportData {
  const plot = <P extends Plot | null>(one: P): P => (one === null ? one : { ...one, lines: one.lines.map(change) });
  const { glance, alerts, tires, air } = data;
  return {
    ...data,
    glance: { ...glance, speed: glance.speed === null ? null : change(glance.speed) },
    alerts: alerts.map((one) => ({ ...one, plots: one.plots.map(plot) })),
    tires: tires && {
      ...tires,
      axles: tires.axles.map((axle) => ({
        ...axle,
        pressures: plot(axle.pressures),
        temperatures: plot(axle.temperatures),
      })),
    },
    air: air && { ...air, plot: plot(air.plot), tests: air.tests.map((test) => ({ ...test, plot: plot(test.plot) })) },
  };
}

/** The harder half of the applications. */
function halfOf(brakes: BrakeSection): BrakeSection {
  const { applications, wheels } = brakes;
  const hardness = (i: number): number => (applications.qualifying[i] ?? 0) * 1e6 + (applications.peakKpa[i] ?? 0);
  const rows = applications.s.map((_, i) => i).sort((a, b) => hardness(b) - hardness(a) || a - b);
  const kept = rows.slice(0, Math.ceil(rows.length / 2)).sort((a, b) => a - b);
  const cut = <T>(column: readonly T[]): T[] => kept.map((i) => column[i]!);
  return {
    ...brakes,
    applications: Object.fromEntries(
      Object.entries(applications).map(([name, column]) => [name, cut(column as unknown[])]),
    ) as BrakeSection['applications'],
    wheels: wheels.map((wheel) => ({ ...wheel, strokeMm: cut(wheel.strokeMm), code: cut(wheel.code) })),
    leftOut: brakes.leftOut + rows.length - kept.length,
  };
}

function shortened(data: ReportData): ReportData {
  const cut = <T>(list: readonly T[]): T[] => list.slice(0, LEAST_ROWS);
  const { glance, air, trips, gaps, muted, notJudged, notes } = data;
  return {
    ...data,
    glance: { ...glance, trips: cut(glance.trips), alerts: cut(glance.alerts), life: cut(glance.life) },
    air: air && { ...air, cycles: cut(air.cycles), tests: cut(air.tests) },
    ...{ trips: cut(trips), gaps: cut(gaps), muted: cut(muted), notJudged: cut(notJudged), notes: cut(notes) },
  };
}
