import type { RuleName } from '../../config/resolved.js';
import { type Judgement, levelOf, UNTIL_NEXT_MS } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import { placeOf } from '../truck/subjects.js';
import type { Workbench } from './monitor.js';

/** Subject of what is said of all brakes together. */
export const ALL_BRAKES = 'brakes';
/** Rules by which a brake is defective at next-stop or worse. */
const COUNTED: readonly RuleName[] = ['brake-overstroke', 'brake-dragging', 'brake-not-applying', 'brake-lining-low'];
const LEAST = levelOf('next-stop');

/**
 * Rule brakes-defective-share: brakes with an open next-stop or worse, of those that are fitted on the combination (B-20).
 * A brake whose sensor is marked bad is unknown: it raises nothing, and the alert does not clear while it might be one of them.
 */
export class BrakesDefective {
  readonly #rule: Judgement;
  readonly #fitted: number;
  readonly #counted: readonly Judgement[];
  #defective = 0;
  #unknown = 0;

  /** To be made after the monitors of the rules that are counted. */
  constructor(bench: Workbench, rule: Judgement) {
    this.#rule = rule;
    this.#fitted = bench.layout.wheelEnds.length;
    this.#counted = COUNTED.map(bench.judgement).filter((j) => j !== undefined);
    rule.add(ALL_BRAKES, placeOf(ALL_BRAKES));
    rule.describe = () => {
      this.#count();
      return {
        measured: {
          quantity: 'brakes with a finding, of those fitted',
          value: this.#defective / this.#fitted,
          limit: rule.limits[0]!.raise,
          unit: 'share',
          quality: 'good',
        },
      };
    };
  }

  /** Judged when the count may have changed: after new evidence of a brake, or when what it comes to is another. */
  tick(t: StreamMs): void {
    this.#count();
    const limit = this.#rule.limits[0]!;
    const subject = this.#rule.subjects[0]!;
    const e = subject.evidence[0]!;
    const raising = this.#defective / this.#fitted >= limit.raise;
    const clearing = (this.#defective + this.#unknown) / this.#fitted <= limit.clear;
    if (raising === e.raising && clearing === e.clearing && this.#newestAt() <= e.judgedAt) return;
    this.#rule.state(0, 0, t, UNTIL_NEXT_MS, raising, clearing);
  }

  /** Subjects stand in the order of the wheel ends in each of the rules. */
  #count(): void {
    this.#defective = 0;
    this.#unknown = 0;
    for (let i = 0; i < this.#fitted; i++) {
      let isDefective = false;
      let isUnknown = false;
      for (const j of this.#counted) {
        const s = j.subjects[i]!;
        if (!s.isJudged) isUnknown = true;
        else if (j.level(s) >= LEAST) isDefective = true;
      }
      if (isDefective) this.#defective++;
      else if (isUnknown) this.#unknown++;
    }
  }

  #newestAt(): StreamMs {
    let at = this.#rule.subjects[0]!.evidence[0]!.judgedAt;
    for (const j of this.#counted) for (const s of j.subjects) at = Math.max(at, j.judgedAt(s));
    return at;
  }
}
