import type { Judgement } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import type { Tires } from '../truck/tires.js';
import type { Workbench } from './monitor.js';

/**
 * Rule tire-sensor-fault: the sender calls the sensor faulty (SPN 1697), sends an error code in place of a value, or a value
 * that no tire has. Frames that say nothing (not available, idle patterns) count neither way: they are silence.
 */
export class TireSensorFault {
  readonly #tires: Tires;
  readonly #rule: Judgement;

  constructor(bench: Workbench, rule: Judgement) {
    this.#tires = bench.tires;
    this.#rule = rule;
    for (const [i, tire] of bench.layout.tires.entries()) rule.add(tire.subject, tire.place, i);
    rule.describe = (s) => {
      const { fault, faultCode } = this.#tires.states[s.index]!;
      return { measured: { code: faultCode, text: fault } };
    };
    rule.fresh = (s, t) => t - this.#tires.states[s.index]!.heardAt <= this.#tires.ageLimit(s.index);
  }

  /** One frame of a tire that says something. */
  frame(i: number, t: StreamMs, isFault: boolean): void {
    for (let k = 0; k < this.#rule.limits.length; k++)
      this.#rule.state(i, k, t, this.#tires.ageLimit(i), isFault, !isFault);
  }
}
