import type { Judgement, Subject } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import type { TireReading, Tires } from '../truck/tires.js';
import { evidencePoints, KPA, type Workbench } from './monitor.js';
import type { TirePressure } from './tire-pressure.js';

/**
 * Rule tire-overinflated: the smaller of the share of target (against what the shop gave all tires, where that is off
 * target) and of cold-equivalent pressure by target. Without a temperature nothing is judged: a driven tire stands above
 * its cold target (T-42), so that a high raw pressure proves nothing.
 */
export class TireOverinflated {
  readonly #tires: Tires;
  readonly #pressure: TirePressure;
  readonly #rule: Judgement;

  constructor(bench: Workbench, rule: Judgement, pressure: TirePressure) {
    this.#tires = bench.tires;
    this.#pressure = pressure;
    this.#rule = rule;
    for (const [i, tire] of bench.layout.tires.entries()) rule.add(tire.subject, tire.place, i);
    rule.describe = (s, t) => this.#describe(s, t);
    rule.fresh = (s, t) => this.#tires.isFresh(s.index, t);
  }

  /** A good pressure reading, after `TirePressure` has judged its share. Compared in the sender's steps. */
  reading(r: TireReading): void {
    const target = this.#tires.target(r.tire);
    const share = this.#share(r.tire, r.t);
    if (Number.isNaN(share)) {
      this.#rule.stop(r.tire, r.t);
      return;
    }
    const { stepKpa } = this.#tires.states[r.tire]!;
    const steps = (ofTarget: number): number => Math.round((ofTarget * target) / stepKpa);
    const judged = steps(share);
    for (const [k, limit] of this.#rule.limits.entries())
      this.#rule.state(r.tire, k, r.t, r.ageMs, judged >= steps(limit.raise), judged <= steps(limit.clear));
  }

  /** NaN without a temperature or a target. */
  #share(i: number, t: StreamMs): number {
    const s = this.#tires.states[i]!;
    if (s.share < 0 || s.coldKpa === null) return Number.NaN;
    return Math.min(this.#pressure.ofPlan(s.share, t), s.coldKpa / this.#tires.target(i));
  }

  #describe(s: Subject, t: StreamMs) {
    const state = this.#tires.states[s.index]!;
    const target = this.#tires.target(s.index);
    const share = this.#share(s.index, t);
    return {
      measured: {
        quantity: 'cold pressure',
        value: Number.isNaN(share) ? state.pressureKpa : share * target,
        limit: this.#rule.limits[0]!.raise * target,
        unit: KPA,
        quality: 'good' as const,
      },
      evidence: { quantity: 'cold pressure', unit: KPA, points: evidencePoints(state.traceAt, state.trace, t) },
    };
  }
}
