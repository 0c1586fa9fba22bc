import type { BrakeSection } from '../../data.js';
import { type Cloud, type CloudPoint, roundTop, type Shape } from './cloud.js';

type Wheel = BrakeSection['wheels'][number];

const STATE_SHAPES: Shape[] = ['dot', 'cross', 'triangle', 'square'];
const MM_STEP = 10;
const KPA_STEP = 100;

/** Which wheels are drawn how: those with measured stroke as a scatter, those with states only as a strip; alerts first. */
export function sorted(wheels: readonly Wheel[]): {
  measured: Wheel[];
  stated: Wheel[];
  /** With states only, and never another one than ok. */
  ok: Wheel[];
  silent: Wheel[];
} {
  const alertsFirst = [...wheels].sort((a, b) => Number(b.alerts.length > 0) - Number(a.alerts.length > 0));
  const tells = (list: readonly (number | null)[]): boolean => list.some((value) => value !== null);
  const measured = alertsFirst.filter(({ strokeMm }) => tells(strokeMm));
  const stated = alertsFirst.filter(({ strokeMm, code }) => !tells(strokeMm) && tells(code));
  const isOk = ({ code, alerts }: Wheel): boolean => alerts.length === 0 && code.every((state) => (state ?? 0) === 0);
  return {
    measured,
    stated: stated.filter((wheel) => !isOk(wheel)),
    ok: stated.filter(isOk),
    silent: wheels.filter(({ strokeMm, code }) => !tells(strokeMm) && !tells(code)),
  };
}

/** The hardest application, as the end of an axis that all wheels share. */
export const topKpa = ({ applications: { peakKpa } }: BrakeSection): number => roundTop(most(peakKpa) ?? 0, KPA_STEP);

export const topMm = ({ wheels }: BrakeSection): number =>
  roundTop(Math.max(0, ...wheels.map(({ strokeMm, limitMm }) => Math.max(most(strokeMm) ?? 0, limitMm ?? 0))), MM_STEP);

const most = (list: readonly (number | null)[]): number | null =>
  list.reduce<number | null>((a, b) => (b === null ? a : Math.max(a ?? b, b)), null);

/** Is the stroke of an application one that the limit is for, and greater than it? Equal to it is legal. */
export function isOver({ applications, band }: BrakeSection, { strokeMm, limitMm }: Wheel, row: number): boolean {
  const [stroke, peak] = [strokeMm[row] ?? null, applications.peakKpa[row] ?? null];
  if (stroke === null || limitMm === null || peak === null || stroke <= limitMm) return false;
  return band === null || (peak >= band.lowKpa && peak <= band.highKpa);
}

/** Stroke against pressure, with the legal limit and the band where it is judged. */
export function strokeCloud(brakes: BrakeSection, wheel: Wheel, limitLabel: string): Cloud {
  const { applications, band } = brakes;
  const points: CloudPoint[] = [];
  wheel.strokeMm.forEach((y, row) => {
    const x = applications.peakKpa[row] ?? null;
    if (y === null || x === null) return;
    const over = isOver(brakes, wheel, row);
    points.push({
      x,
      y,
      shape: over ? 'triangle' : (STATE_SHAPES[wheel.code[row] ?? 0] ?? 'dot'),
      isFull: applications.qualifying[row] === 1,
      urgency: over || (wheel.code[row] ?? 0) > 0 ? 'next-stop' : null,
      row,
    });
  });
  return {
    title: wheel.place,
    x: { unit: 'kPa', label: 'application pressure', range: [0, topKpa(brakes)] },
    y: { unit: 'mm', label: 'stroke', range: [0, topMm(brakes)] },
    points,
    limits:
      wheel.limitMm === null ? [] : [{ label: limitLabel, kind: 'raise', urgency: 'next-stop', value: wheel.limitMm }],
    band: band && { from: band.lowKpa, to: band.highKpa, label: 'judged' },
  };
}

/** What a stroke sensor said at each application, over time. */
export function stateCloud(brakes: BrakeSection, wheel: Wheel, lengthS: number): Cloud {
  const { applications, qualifyingKpa } = brakes;
  const points: CloudPoint[] = [];
  wheel.code.forEach((code, row) => {
    if (code === null) return;
    points.push({
      x: applications.s[row]!,
      y: applications.peakKpa[row] ?? 0,
      shape: STATE_SHAPES[code] ?? 'dot',
      isFull: applications.qualifying[row] === 1,
      urgency: code === 0 ? null : 'next-stop',
      row,
    });
  });
  return {
    title: wheel.place,
    x: { unit: 's', label: 'time', range: [0, Math.max(lengthS, 1)] },
    y: { unit: 'kPa', label: 'peak pressure', range: [0, topKpa(brakes)] },
    points,
    limits: qualifyingKpa === null ? [] : [{ label: '', kind: 'other', urgency: null, value: qualifyingKpa }],
    band: null,
  };
}
