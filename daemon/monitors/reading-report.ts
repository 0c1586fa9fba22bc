import type { ReadingReport } from '../effects.js';
import type { PipelineState } from '../pipeline-state.js';
import { NEVER, type StreamMs } from '../time.js';
import type { Layout } from '../truck/layout.js';
import type { Sample } from '../truck/samples.js';
import type { Tires } from '../truck/tires.js';
import type { TripSight } from '../truck/trip-sight.js';
import type { Air } from './air.js';
import type { Marks } from './marks.js';

/** One character per tire and circuit: is it heard? */
export function qualityOf(tires: Tires, air: Air, t: StreamMs): string {
  const { primary, secondary } = air.values(t);
  const heard = tires.states.map((_, i) => (tires.isFresh(i, t) ? '+' : '-')).join('');
  return `${heard}${primary === null ? '-' : '+'}${secondary === null ? '-' : '+'}`;
}

/** Service circuits that this truck has ever told, but for marked ones; kpa null: silent now. */
export function circuitsOf(air: Air, marks: Marks, t: StreamMs): ReturnType<TripSight['circuits']> {
  const { primary, secondary } = air.values(t);
  const { primaryFine, primaryCoarse, secondaryFine, secondaryCoarse } = air.state;
  const isTold = (fine: Sample, coarse: Sample, subject: string): boolean =>
    (fine.source >= 0 || coarse.source >= 0) && !marks.isMarked(subject);
  const circuits: ReturnType<TripSight['circuits']> = [];
  if (isTold(primaryFine, primaryCoarse, 'air/primary')) circuits.push({ subject: 'air/primary', kpa: primary });
  if (isTold(secondaryFine, secondaryCoarse, 'air/secondary'))
    circuits.push({ subject: 'air/secondary', kpa: secondary });
  return circuits;
}

/**
 * Values for the office. Tires: pressure kPa, cold-equivalent pressure kPa, temperature °C, age s. Wheel ends: stroke
 * state, age s. Air circuits and supply: kPa, age s. Only what was ever heard.
 */
export function reportOf(
  layout: Layout,
  tires: Tires,
  state: PipelineState,
  air: Air,
  t: StreamMs,
): ReadingReport['r'] {
  const r: ReadingReport['r'] = {};
  const age = (at: StreamMs): number => Math.round((t - at) / 1000);
  for (const [i, tire] of layout.tires.entries()) {
    const s = tires.states[i]!;
    if (s.at === NEVER) continue;
    const celsius = tires.temperature(i, t);
    const cold = s.coldKpa === null ? null : Math.round(s.coldKpa);
    r[tire.subject] = [s.pressureKpa, cold, Number.isNaN(celsius) ? null : Math.round(celsius), age(s.at)];
  }
  for (const end of layout.wheelEnds) {
    const s = state.wheelEnds[end.subject]!;
    if (s.at > NEVER) r[end.subject] = [s.code, age(s.at)];
  }
  const { primary, secondary, supply, parking } = air.values(t);
  const a = state.air;
  const circuits: [subject: string, kpa: number | null, at: StreamMs][] = [
    ['air/primary', primary, Math.max(a.primaryFine.at, a.primaryCoarse.at)],
    ['air/secondary', secondary, Math.max(a.secondaryFine.at, a.secondaryCoarse.at)],
    ['air/supply', supply, a.supply.at],
    ['air/parking', parking, a.parking.at],
  ];
  for (const [subject, kpa, at] of circuits) if (at > NEVER) r[subject] = [kpa, age(at)];
  return r;
}
