import type { Judgement } from '../alerts/judgement.js';
import { reader } from '../j1939/decode.js';
import type { StreamMs } from '../time.js';
import { ageLimit, isFresh, type Sample, take } from '../truck/samples.js';
import { placeOf } from '../truck/subjects.js';
import { ALL_BRAKES } from './brakes-defective.js';

/** Rule brake-hot: the warning of EBC5 (SPN 3839). It says that a brake is too hot and not which. */
export class BrakeHot {
  readonly #rule: Judgement;
  readonly #warning: Sample;
  readonly #reader = reader(3839);

  constructor(rule: Judgement, warning: Sample) {
    this.#rule = rule;
    this.#warning = warning;
    rule.add(ALL_BRAKES, placeOf(ALL_BRAKES));
    rule.fresh = (_, t) => isFresh(warning, t);
    rule.describe = () => ({ measured: { code: warning.value, text: 'brake temperature warning' } });
  }

  /** One EBC5. Of two senders the one that warns is believed. */
  frame(t: StreamMs, source: number, data: Uint8Array, length: number): void {
    const warns = this.#reader.read(data, length);
    if (Number.isNaN(warns)) return;
    const s = this.#warning;
    if (warns === 1 && s.value !== 1) s.source = source;
    if (take(s, t, source, warns)) this.#rule.state(0, 0, t, ageLimit(s), warns === 1, warns === 0);
  }
}
