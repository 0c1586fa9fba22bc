import type { Judgement } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import { TICK_MS } from '../time.js';
import type { Tires } from '../truck/tires.js';
import type { TickFacts, Workbench } from './monitor.js';

/** Rule tire-sensor-silent: no good reading of a tire over moving time (UN R141 5.4 gives ten minutes). */
export class TireSensorSilent {
  readonly #tires: Tires;
  readonly #rule: Judgement;

  constructor(bench: Workbench, rule: Judgement) {
    this.#tires = bench.tires;
    this.#rule = rule;
    for (const [i, tire] of bench.layout.tires.entries()) rule.add(tire.subject, tire.place, i);
    rule.onReset = (s) => {
      this.#tires.states[s.index]!.silentMovingMs = 0;
    };
    rule.describe = (s) => ({ measured: { silentS: Math.round(this.#tires.states[s.index]!.silentMovingMs / 1000) } });
  }

  /** A good pressure came: silence is over. */
  reading(i: number, t: StreamMs, ageMs: number): void {
    this.#rule.state(i, 0, t, ageMs, false, true);
  }

  tick(facts: TickFacts, isMuted: boolean): void {
    if (!facts.moving) return;
    const least = this.#rule.constant('minS') * 1000;
    const most = this.#rule.constant('maxS') * 1000;
    const intervals = this.#rule.constant('intervals');
    for (const [i, s] of this.#tires.states.entries()) {
      s.silentMovingMs = isMuted ? 0 : s.silentMovingMs + TICK_MS;
      const limit = Math.min(most, Math.max(least, intervals * this.#tires.interval(i)));
      if (s.silentMovingMs >= limit) this.#rule.verdict(i, 0, facts.t, true, false);
    }
  }
}
