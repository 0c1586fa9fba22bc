import type { Judgement } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import { placeOf } from '../truck/subjects.js';

const AGE_MS = 2_000;
/** Heard again: the slowest of the groups that every truck sends comes once a second. */
const HEARD_S = 2;

/** Rule bus-silent: nothing of interest is heard from a truck that was moving. */
export class BusSilent {
  readonly #rule: Judgement;
  /** Since when a bus has been silent, by bus; from `silentS`. */
  readonly #silentS: (bus: number, t: StreamMs) => number;

  constructor(rule: Judgement, buses: string[], silentS: (bus: number, t: StreamMs) => number) {
    this.#rule = rule;
    this.#silentS = silentS;
    for (const [i, bus] of buses.entries()) rule.add(`bus/${bus}`, placeOf(`bus/${bus}`), i);
    rule.describe = (s, t) => ({ measured: { silentS: Math.floor(this.#silentS(s.index, t)) } });
  }

  tick(t: StreamMs, isBlind: boolean): void {
    for (let i = 0; i < this.#rule.subjects.length; i++) {
      this.#rule.state(i, 0, t, AGE_MS, isBlind, !isBlind && this.#silentS(i, t) < HEARD_S);
    }
  }
}
