import { type Judgement, UNTIL_NEXT_MS } from '../alerts/judgement.js';
import type { WheelEnd } from '../truck/layout.js';
import type { Application } from './applications.js';
import { tellsStroke, toStep, type WheelEndState } from './brake-state.js';
import type { Workbench } from './monitor.js';

/** Rule brake-stroke-uneven: the greatest strokes of one application, left and right of an axle; told of the longer one. */
export class StrokeUneven {
  readonly #rule: Judgement;
  readonly #ends: readonly WheelEnd[];
  readonly #states: readonly WheelEndState[];
  /** By wheel end: the other one of its axle. */
  readonly #mates: readonly number[];

  constructor(bench: Workbench, rule: Judgement, states: readonly WheelEndState[]) {
    this.#rule = rule;
    this.#ends = bench.layout.wheelEnds;
    this.#states = states;
    this.#mates = this.#ends.map(({ unit, axleIndex, side }) =>
      this.#ends.findIndex((x) => x.unit === unit && x.axleIndex === axleIndex && x.side !== side),
    );
    for (const [i, end] of this.#ends.entries()) rule.add(end.subject, end.place, i);
    rule.fresh = (s, t) => this.#pair(s.index).every((x) => tellsStroke(x, t));
    rule.describe = (s) => ({
      measured: {
        quantity: 'stroke beyond the other side',
        value: states[s.index]!.unevenMm,
        limit: rule.limits[0]!.raise,
        unit: 'mm',
        quality: 'good',
      },
    });
  }

  /**
   * An application is over. With spring brakes on a stroke says nothing of the adjustment. Strict, as the limit of the
   * stroke itself is: what is equal to the limit is within it.
   */
  ended({ endedAt, qualifying, springsOff }: Application): void {
    if (!qualifying || !springsOff) return;
    const { raise, clear } = this.#rule.limits[0]!;
    for (let i = 0; i < this.#states.length; i++) {
      const s = this.#states[i]!;
      const other = this.#states[this.#mates[i]!]!;
      if (s.peakMm < 0 || other.peakMm < 0) continue;
      s.unevenMm = toStep(s.peakMm - other.peakMm);
      this.#rule.state(i, 0, endedAt, UNTIL_NEXT_MS, s.unevenMm > raise, s.unevenMm <= clear);
    }
  }

  #pair(i: number): WheelEndState[] {
    return [this.#states[i]!, this.#states[this.#mates[i]!]!];
  }
}
