import type { Judgement } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import { TICK_MS } from '../time.js';
import type { Tires } from '../truck/tires.js';
import type { TickFacts, Workbench } from './monitor.js';
import type { TrailerNotSeen } from './trailer-not-seen.js';

const LAYOUT = 'layout';
const AGE_MS = 30_000;

/** Moving time in which units had no tire that was ever heard, ms. Plain data. */
export interface UnheardState {
  movingMs: number;
}

/**
 * Rule tire-sensor-silent: no good reading of a tire over moving time (UN R141 5.4 gives ten minutes for a malfunction).
 *
 * A sensor malfunctions that was heard, or whose neighbours are: each of these tires has its alert. A unit of which no
 * tire was ever heard has no sensors, or no receiver for them, and the truck file cannot tell which: it is told
 * in one alert on the layout, not for each tire. When all tires of a towed unit fall silent together, trailer-not-seen tells it.
 */
export class TireSensorSilent {
  readonly #tires: Tires;
  readonly #rule: Judgement;
  readonly #trailer: TrailerNotSeen;
  readonly #state: UnheardState;
  /** Indexes of the tires of each unit. */
  readonly #units: number[][];
  /** Number of the subject of tires that were never heard. */
  readonly #layout: number;

  constructor(bench: Workbench, rule: Judgement, trailer: TrailerNotSeen, state: UnheardState) {
    this.#tires = bench.tires;
    this.#rule = rule;
    this.#trailer = trailer;
    this.#state = state;
    const { tires } = bench.layout;
    for (const [i, tire] of tires.entries()) rule.add(tire.subject, tire.place, i);
    this.#layout = rule.add(LAYOUT, 'tires never heard', -1);
    const units = [...new Set(tires.map((tire) => tire.unit))];
    this.#units = units.map((unit) => [...tires.keys()].filter((i) => tires[i]!.unit === unit));
    rule.onReset = (s) => {
      if (s.index < 0) this.#state.movingMs = 0;
      else this.#tires.states[s.index]!.silentMovingMs = 0;
    };
    rule.describe = (s) => {
      const ms = s.index < 0 ? this.#state.movingMs : this.#tires.states[s.index]!.silentMovingMs;
      return { measured: { silentS: Math.round(ms / 1000) } };
    };
  }

  /** `source/…` of the sender that a tire was heard from last; '' for one that was never heard. */
  tellsSource(subjectOf: (source: number) => string): void {
    const names = new Map<number, string>();
    this.#rule.sourceOf = (s) => {
      const source = this.#tires.states[s.index]?.readingSource ?? -1;
      if (source < 0) return '';
      const known = names.get(source) ?? subjectOf(source);
      names.set(source, known);
      return known;
    };
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
    let isAnyUnheard = false;
    for (const unit of this.#units) {
      const isUnheard = this.#isUnheard(unit);
      const isUnseen = this.#trailer.isUnitUnseen(unit[0]!);
      isAnyUnheard ||= isUnheard && !isUnseen;
      // Told otherwise: when the first of them is heard again, the others have their time.
      const isHeld = isMuted || isUnheard || isUnseen;
      for (const i of unit) {
        const s = this.#tires.states[i]!;
        s.silentMovingMs = isHeld ? 0 : s.silentMovingMs + TICK_MS;
        const limit = Math.min(most, Math.max(least, intervals * this.#tires.interval(i)));
        if (s.silentMovingMs >= limit) this.#rule.verdict(i, 0, facts.t, true, false);
      }
    }
    this.#judgeUnheard(facts.t, isAnyUnheard && !isMuted, most);
  }

  /** No tire of the unit was ever heard; one that is marked bad is not waited for. */
  #isUnheard(unit: readonly number[]): boolean {
    let isWaited = false;
    for (const i of unit) {
      if (this.#tires.states[i]!.readingSource >= 0) return false;
      isWaited ||= !this.#tires.isMarked(i);
    }
    return isWaited;
  }

  #judgeUnheard(t: StreamMs, isUnheard: boolean, limitMs: number): void {
    this.#state.movingMs = isUnheard ? this.#state.movingMs + TICK_MS : 0;
    if (this.#state.movingMs >= limitMs) this.#rule.verdict(this.#layout, 0, t, true, false);
    else if (!isUnheard) this.#rule.state(this.#layout, 0, t, AGE_MS, false, true);
  }
}
