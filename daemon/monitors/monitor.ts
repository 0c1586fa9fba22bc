import type { RuleName } from '../../config/resolved.js';
import type { Judgement } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import type { Layout } from '../truck/layout.js';
import type { Records } from '../truck/records.js';
import type { Tires } from '../truck/tires.js';
import type { Marks } from './marks.js';

/** What monitors are built from. `judgement` is undefined for a rule that the configuration turns off. */
export interface Workbench {
  layout: Layout;
  context: Context;
  tires: Tires;
  marks: Marks;
  /** What happened goes there, to be kept. */
  records: Records;
  isBus: boolean;
  /** How many vehicles the combination has, the tractor among them; a dolly is none. */
  vehicles: number;
  judgement: (rule: RuleName) => Judgement | undefined;
}

/** What is true of the truck at a tick; undefined where it is unknown. */
export interface TickFacts {
  t: StreamMs;
  moving: boolean;
  engineRunning: boolean;
}

/** Limits of the judged quantities as events name them. */
export const KPA = 'kPa';
export const CELSIUS = '°C';

const MAX_EVIDENCE_POINTS = 12;

/** At most twelve points of a trace: first, last and the extremes, and others evenly between. */
export function evidencePoints(at: readonly number[], values: readonly number[], t: StreamMs): [number, number][] {
  const n = at.length;
  if (n === 0) return [];
  const chosen = new Set([0, n - 1]);
  let low = 0;
  let high = 0;
  for (let i = 1; i < n; i++) {
    if (values[i]! < values[low]!) low = i;
    if (values[i]! > values[high]!) high = i;
  }
  chosen.add(low).add(high);
  const step = Math.max(1, Math.ceil(n / (MAX_EVIDENCE_POINTS - chosen.size)));
  for (let i = step; i < n && chosen.size < MAX_EVIDENCE_POINTS; i += step) chosen.add(i);
  return [...chosen].sort((a, b) => a - b).map((i) => [t - at[i]!, Math.round(values[i]! * 10) / 10]);
}
