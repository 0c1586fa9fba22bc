import type { TruckPage } from '../../core/board-model.js';

/** A tire as it was last told: values null where unknown. */
export interface Tire {
  subject: string;
  /** "left outer". */
  name: string;
  measuredKpa: number | null;
  coldKpa: number | null;
  celsius: number | null;
  /** By the office's clock; null: never told. */
  atMs: number | null;
  targetKpa: number | null;
}

export interface Brake {
  subject: string;
  name: string;
  state: number | null;
  atMs: number | null;
  strokeMm: number | null;
  restMm: number | null;
}

export interface Axle {
  /** "tractor axle 2". */
  name: string;
  tires: Tire[];
  brakes: Brake[];
}

export interface Circuit {
  subject: string;
  name: string;
  kpa: number | null;
  atMs: number | null;
}

const SIDES = ['left', 'right'];
/** From the driver's left to the right. */
const TIRE_ORDER = ['left/single', 'left/outer', 'left/inner', 'right/inner', 'right/outer', 'right/single'];
const UNIT_ORDER = ['tractor', 'dolly', 'trailer', 'trailer-2'];
const CIRCUITS = ['air/primary', 'air/secondary', 'air/supply', 'air/parking'];

/** Everything with wheels that was ever heard or has a target, axle by axle from the front. */
export function axlesOf(page: Pick<TruckPage, 'reading' | 'readingMs' | 'check'>): Axle[] {
  const tires = page.check?.tires ?? {};
  const wheels = page.check?.brakes.wheels ?? {};
  const subjects = new Set([...Object.keys(page.reading?.r ?? {}), ...Object.keys(tires), ...Object.keys(wheels)]);
  const axles = new Map<string, { unit: string; n: number; axle: Axle }>();
  for (const subject of subjects) {
    const [unit = '', number = '', side = '', position] = subject.split('/');
    if (!/^\d+$/.test(number) || !SIDES.includes(side)) continue;
    const key = `${unit}/${number}`;
    const found = axles.get(key) ?? {
      unit,
      n: Number(number),
      axle: { name: `${unit} axle ${number}`, tires: [], brakes: [] },
    };
    axles.set(key, found);
    if (position === undefined) found.axle.brakes.push(brakeOf(page, subject, side));
    else found.axle.tires.push(tireOf(page, subject, position === 'single' ? side : `${side} ${position}`));
  }
  const order = (tire: Tire): number => TIRE_ORDER.indexOf(tire.subject.split('/').slice(2).join('/'));
  for (const { axle } of axles.values()) {
    axle.tires.sort((a, b) => order(a) - order(b));
    axle.brakes.sort((a, b) => a.subject.localeCompare(b.subject));
  }
  const rank = (unit: string): number => (UNIT_ORDER.indexOf(unit) + UNIT_ORDER.length + 1) % (UNIT_ORDER.length + 1);
  return [...axles.values()].sort((a, b) => rank(a.unit) - rank(b.unit) || a.n - b.n).map(({ axle }) => axle);
}

type Page = Pick<TruckPage, 'reading' | 'readingMs' | 'check'>;

/** When it was measured: the reading has an instant, and each value its age then. */
const measuredMs = (page: Page, ageS: number | null | undefined): number | null =>
  page.readingMs === null || ageS == null ? null : page.readingMs - ageS * 1000;

function tireOf(page: Page, subject: string, name: string): Tire {
  const [measuredKpa = null, coldKpa = null, celsius = null, ageS] = page.reading?.r[subject] ?? [];
  const targetKpa = page.check?.tires[subject]?.[2] ?? null;
  return { subject, name, measuredKpa, coldKpa, celsius, atMs: measuredMs(page, ageS), targetKpa };
}

function brakeOf(page: Page, subject: string, name: string): Brake {
  const [state = null, ageS] = page.reading?.r[subject] ?? [];
  const [, , strokeMm = null, restMm = null] = page.check?.brakes.wheels[subject] ?? [];
  return { subject, name, state, atMs: measuredMs(page, ageS), strokeMm, restMm };
}

export function circuitsOf(page: Page): Circuit[] {
  const r = page.reading?.r ?? {};
  return CIRCUITS.filter((subject) => subject in r).map((subject) => {
    const [kpa = null, ageS] = r[subject]!;
    return { subject, name: subject.slice('air/'.length), kpa, atMs: measuredMs(page, ageS) };
  });
}

const STATES = ['ok', 'does not act', 'over-stroke', 'drags'];

export const brakeWords = (state: number | null): string =>
  state === null ? 'not known' : (STATES[state] ?? `state ${state}`);

/**
 * Shares of the target at which alerts begin as Axlepost is shipped (config/defaults.yaml, tire-underinflated and
 * tire-overinflated), and kPa for service air (air-low). A truck file may have others: they show in the alerts themselves.
 */
export const TIRE_LIMITS = [
  { share: 1.25, urgency: 'plan' },
  { share: 0.9, urgency: 'plan' },
  { share: 0.8, urgency: 'next-stop' },
  { share: 0.5, urgency: 'pull-over' },
] as const;
export const AIR_LOW_KPA = 414;
