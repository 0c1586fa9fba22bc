import { coldPressure, SEA_LEVEL_KPA } from '../monitors/arithmetic/cold-pressure.js';
import { medianInPlace } from '../monitors/arithmetic/median.js';
import { NEVER, type StreamMs } from '../time.js';
import type { Context } from './context.js';
import type { Layout, Tire } from './layout.js';
import { isFresh } from './samples.js';
import { newTire, type TireReading, type TireState } from './tire-state.js';

export { newTire, type TireReading, type TireState } from './tire-state.js';

/** Tires report every 10 s; slower senders and lost frames are learned. */
const FIRST_INTERVAL_MS = 10_000;
const LEAST_AGE_MS = 30_000;
export const MOST_TIRE_AGE_MS = 120_000;
const LEARNED_INTERVALS = 20;
/** A trace keeps this many points at least this far apart: ten minutes at the usual rate. */
const TRACE_POINTS = 60;
const TRACE_STEP_MS = 9_000;

/** A wheel this much away from its peers is heated by something else than the road. */
const ODD_HEAT_C = 10;
/** A tire that is no warmer than this above the weather has not run (simulated: 8 °C come of a cold highway as well). */
const COLD_WITHIN_C = 3;
/** A brake heats both tires of its end: the twin by at least this much. */
const TWIN_HEAT_C = 5;
const LEAST_PEERS = 3;
/** A tire of unknown temperature in unknown weather is not taken for colder: common practice. */
const COLDEST_C = -20;
/** Readings that a cold start keeps of each tire. */
export const MOST_START_READINGS = 60;

/** The tires of the layout: latest readings, learned intervals, peers. */
export class Tires {
  readonly states: TireState[];
  readonly peers: number[][];
  /** The other tire of a dual pair; -1 of a single tire. */
  readonly #twins: number[];
  readonly #tires: readonly Tire[];
  readonly #context: Context;
  readonly #referenceC: number;
  readonly #depotAirKpa: number;
  readonly #fixedGauge: Set<number>;
  readonly #isMarked: boolean[];
  /** Learned interval of each tire: follows from the state, asked for all the time. */
  readonly #intervals: number[];

  constructor(
    layout: Layout,
    states: Record<string, TireState>,
    context: Context,
    air: { referenceC: number; depotAirKpa: number; fixedGauge: Set<number> },
    isMarked: (sensor: string) => boolean,
  ) {
    this.#tires = layout.tires;
    this.#context = context;
    this.#referenceC = air.referenceC;
    this.#depotAirKpa = air.depotAirKpa;
    this.#fixedGauge = air.fixedGauge;
    this.#isMarked = layout.tires.map((tire) => isMarked(tire.subject));
    this.states = layout.tires.map((tire) => {
      // A state of an earlier version gets what one has today.
      const state = { ...newTire(), ...states[tire.subject] };
      states[tire.subject] = state;
      return state;
    });
    this.#intervals = this.states.map((_, i) => this.#learnedInterval(i));
    this.#twins = layout.tires.map(({ pair }, i) =>
      pair < 0 ? -1 : layout.tires.findIndex((other, k) => k !== i && other.pair === pair),
    );
    this.peers = layout.tires.map((tire, i) =>
      layout.tires.flatMap((other, k) => (k !== i && other.peers === tire.peers ? [k] : [])),
    );
  }

  get depotAirKpa(): number {
    return this.#depotAirKpa;
  }

  /** kPa gauge, or NaN where the truck file gives none. */
  target(i: number): number {
    return this.#tires[i]!.coldPressureKpa ?? Number.NaN;
  }

  /** Learned time between readings, ms: median of the last 20 while moving. */
  interval(i: number): number {
    return this.#intervals[i]!;
  }

  #learnedInterval(i: number): number {
    const list = this.states[i]!.intervalsMs;
    return list.length < 3 ? FIRST_INTERVAL_MS : medianInPlace([...list]);
  }

  ageLimit(i: number): number {
    return Math.max(LEAST_AGE_MS, Math.min(3 * this.interval(i), MOST_TIRE_AGE_MS));
  }

  /** Has it a reading that counts? A sensor that was called bad has none: the tire is no peer, and not healthy. */
  isFresh(i: number, t: StreamMs): boolean {
    return !this.#isMarked[i]! && this.#isHeard(i, t);
  }

  isAnyFresh(t: StreamMs): boolean {
    for (let i = 0; i < this.states.length; i++) if (this.isFresh(i, t)) return true;
    return false;
  }

  isMarked(i: number): boolean {
    return this.#isMarked[i]!;
  }

  #isHeard(i: number, t: StreamMs): boolean {
    return t - this.states[i]!.at <= this.ageLimit(i);
  }

  /** °C, NaN when old. */
  temperature(i: number, t: StreamMs): number {
    const s = this.states[i]!;
    return t - s.temperatureAt <= this.ageLimit(i) ? s.temperatureC : Number.NaN;
  }

  /** Air pressure that the gauge of this sender stands against, kPa absolute. */
  air(i: number, t: StreamMs): number {
    if (this.#fixedGauge.has(this.states[i]!.source)) return SEA_LEVEL_KPA;
    const { barometer } = this.#context.state;
    return isFresh(barometer, t) ? barometer.value : this.#depotAirKpa;
  }

  /** Cold-equivalent pressure of the last reading, kPa gauge; NaN without a fresh temperature. */
  cold(i: number, t: StreamMs): number {
    const celsius = this.temperature(i, t);
    if (Number.isNaN(celsius)) return Number.NaN;
    return this.coldAt(i, t, celsius);
  }

  /** The same if the air in the tire had this temperature. */
  coldAt(i: number, t: StreamMs, celsius: number): number {
    return coldPressure(this.states[i]!.pressureKpa, celsius, this.air(i, t), this.#referenceC, this.#depotAirKpa);
  }

  /**
   * The highest that the cold-equivalent pressure of the last reading can be, kPa gauge, when the sensor tells no
   * temperature: no tire is colder than the air around it. What is low by this is low for certain.
   */
  highestCold(i: number, t: StreamMs): number {
    const { ambient } = this.#context.state;
    const least = isFresh(ambient, t) ? Math.min(ambient.value, this.#referenceC) : COLDEST_C;
    return this.coldAt(i, t, least);
  }

  /** Is it about as cold as the weather, as tires are that have not run? False where either is unknown. */
  isCold(i: number, t: StreamMs): boolean {
    const { ambient } = this.#context.state;
    return isFresh(ambient, t) && this.temperature(i, t) - ambient.value <= COLD_WITHIN_C;
  }

  /** Median over fresh peers of a value; NaN with fewer than `least` of them. */
  peerMedian(i: number, t: StreamMs, least: number, quantityOf: (peer: number) => number): number {
    const values: number[] = [];
    for (const k of this.peers[i]!) {
      if (!this.isFresh(k, t)) continue;
      const v = quantityOf(k);
      if (!Number.isNaN(v)) values.push(v);
    }
    return values.length < least ? Number.NaN : medianInPlace(values);
  }

  /** Much hotter or colder than its peers: something else heats it, and its sensor does not tell the air's temperature. */
  isOddlyHeated(i: number, t: StreamMs): boolean {
    const mine = this.temperature(i, t);
    const peers = this.peerMedian(i, t, LEAST_PEERS, (k) => this.temperature(k, t));
    return !Number.isNaN(mine) && !Number.isNaN(peers) && Math.abs(mine - peers) > ODD_HEAT_C;
  }

  /**
   * °C above the median of its peers, however few, where a brake heats it: the tire and its twin, if that is heard. NaN where
   * it does not. A single tire has no twin to tell a hot brake from heat of its own.
   */
  brakeHeat(i: number, t: StreamMs): number {
    const heat = this.#abovePeers(i, t);
    if (!(heat > ODD_HEAT_C)) return Number.NaN;
    const twin = this.#twins[i]!;
    return twin >= 0 && this.#abovePeers(twin, t) < TWIN_HEAT_C ? Number.NaN : heat;
  }

  #abovePeers(i: number, t: StreamMs): number {
    return this.temperature(i, t) - this.peerMedian(i, t, 1, (k) => this.temperature(k, t));
  }

  /** Believes one sender per tire: another is heard only when the first is past its age limit. */
  believes(i: number, t: StreamMs, source: number): boolean {
    const s = this.states[i]!;
    if (s.source === source) return true;
    if (s.at > NEVER && this.#isHeard(i, t)) return false;
    s.source = source;
    return true;
  }

  takeTemperature(i: number, t: StreamMs, celsius: number): void {
    const s = this.states[i]!;
    s.temperatureC = celsius;
    s.temperatureAt = t;
  }

  /** Takes a good pressure and says what changed. */
  takePressure(i: number, t: StreamMs, kpa: number, stepKpa: number, isMoving: boolean): TireReading {
    const s = this.states[i]!;
    const sinceMs = t - s.at;
    if (isMoving && s.at > NEVER && sinceMs > 0 && sinceMs < 10 * MOST_TIRE_AGE_MS) {
      s.intervalsMs.push(sinceMs);
      if (s.intervalsMs.length > LEARNED_INTERVALS) s.intervalsMs.shift();
      this.#intervals[i] = this.#learnedInterval(i);
    }
    // Two sensors differ: what one told says nothing of a fall that the other shows.
    const isSameSensor = s.at > NEVER && s.readingSource === s.source;
    const beforeKpa = isSameSensor ? s.pressureKpa : Number.NaN;
    const beforeColdKpa = isSameSensor ? (s.coldKpa ?? Number.NaN) : Number.NaN;
    s.readingSource = s.source;
    s.pressureKpa = kpa;
    s.stepKpa = stepKpa;
    s.at = t;
    s.silentMovingMs = 0;
    const coldKpa = this.cold(i, t);
    s.coldKpa = Number.isNaN(coldKpa) ? null : coldKpa;
    const last = s.traceAt.at(-1);
    if (last === undefined || t - last >= TRACE_STEP_MS) {
      s.traceAt.push(t);
      s.trace.push(Number.isNaN(coldKpa) ? kpa : coldKpa);
      if (s.trace.length > TRACE_POINTS) {
        s.traceAt.shift();
        s.trace.shift();
      }
    }
    return { t, tire: i, kpa, coldKpa, beforeKpa, beforeColdKpa, sinceMs, ageMs: this.ageLimit(i) };
  }
}
