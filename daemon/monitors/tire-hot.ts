import type { Judgement, Level, Subject } from '../alerts/judgement.js';
import type { StreamMs } from '../time.js';
import type { Tires } from '../truck/tires.js';
import { CELSIUS, type Workbench } from './monitor.js';

const LEAST_PEERS = 3;

/** Rule tire-hot: the temperature by itself, and above that of the peers. */
export class TireHot {
  readonly #tires: Tires;
  readonly #rule: Judgement;
  readonly #abovePeers: number;

  constructor(bench: Workbench, rule: Judgement) {
    this.#tires = bench.tires;
    this.#rule = rule;
    this.#abovePeers = rule.limit('above-peers');
    for (const [i, tire] of bench.layout.tires.entries()) rule.add(tire.subject, tire.place, i);
    rule.describe = (s, t, level) => this.#describe(s, t, level);
    rule.fresh = (s, t) => !Number.isNaN(this.#tires.temperature(s.index, t));
  }

  /** A good temperature was taken for the tire. */
  reading(i: number, t: StreamMs): void {
    const celsius = this.#tires.states[i]!.temperatureC;
    const age = this.#tires.ageLimit(i);
    for (let k = 0; k < this.#rule.limits.length; k++) {
      if (k !== this.#abovePeers) this.#rule.value(i, k, t, age, celsius);
    }
    const above = this.abovePeers(i, t);
    const limit = this.#rule.limits[this.#abovePeers]!;
    if (Number.isNaN(above)) {
      this.#rule.stop(i, t, this.#abovePeers);
      return;
    }
    const warm = celsius >= this.#rule.constant('peersFloorC');
    this.#rule.state(i, this.#abovePeers, t, age, warm && above >= limit.raise, above <= limit.clear);
  }

  /** °C above the median of the peers; NaN with fewer than three. */
  abovePeers(i: number, t: StreamMs): number {
    return (
      this.#tires.temperature(i, t) - this.#tires.peerMedian(i, t, LEAST_PEERS, (k) => this.#tires.temperature(k, t))
    );
  }

  /** Hot by itself or above its peers, right now: what turns a dragging brake into a pull-over. */
  isHot(i: number, t: StreamMs): boolean {
    if (this.#tires.isMarked(i)) return false;
    const next = this.#rule.limits[this.#rule.limit('next-stop')]!;
    const peers = this.#rule.limits[this.#abovePeers]!;
    const celsius = this.#tires.temperature(i, t);
    if (celsius >= next.raise) return true;
    return celsius >= this.#rule.constant('peersFloorC') && this.abovePeers(i, t) >= peers.raise;
  }

  /** Above the peers only when that is what holds: then the limit is told as a temperature too. */
  #describe(s: Subject, t: StreamMs, level: Level) {
    const absolute = this.#rule.limits.findIndex((l) => l.level === level && l.name !== 'above-peers');
    const byPeers = s.evidence[this.#abovePeers]!.up && s.evidence[absolute]?.up !== true;
    const value = this.#tires.states[s.index]!.temperatureC;
    const above = byPeers ? this.abovePeers(s.index, t) : Number.NaN;
    const limit = byPeers
      ? Math.max(value - above + this.#rule.limits[this.#abovePeers]!.raise, this.#rule.constant('peersFloorC'))
      : (this.#rule.limits[absolute]?.raise ?? Number.NaN);
    return {
      measured: {
        quantity: byPeers ? 'tire temperature against its peers' : 'tire temperature',
        value,
        ...(Number.isNaN(limit) ? {} : { limit }),
        unit: CELSIUS,
        quality: 'good' as const,
      },
    };
  }
}
