import { type CircuitName, circuitAt } from '../../daemon/monitors/air-circuits.js';
import { pressureSample } from '../../daemon/monitors/application-pressure.js';
import type { Pipeline } from '../../daemon/pipeline.js';
import type { StreamMs } from '../../daemon/time.js';
import { speedSample } from '../../daemon/truck/context.js';
import type { Layout } from '../../daemon/truck/layout.js';
import { type SeriesQuantity, seriesKey } from '../gathered.js';
import { Growing } from './growing.js';

/** Readings of one quantity of one subject, and when the last one of them was told. */
interface Series {
  rows: Growing;
  lastAt: StreamMs;
}

const CIRCUITS: readonly CircuitName[] = ['primary', 'secondary'];

/**
 * Takes from the truck's state, once a second, what was told since the last time: of each quantity the last good reading, at its
 * own instant. It is what the monitors had, after plausibility, choice of sender and extra signals.
 */
export class Readings {
  /** By seriesKey. */
  readonly series = new Map<string, Series>();
  /** Rows of all series. */
  rows = 0;
  #from: StreamMs = 0;
  #layout: Layout | null = null;
  #tires: { subject: string; pressure: Series; cold: Series; temperature: Series }[] = [];
  #ends: { subject: string; code: Series; stroke: Series }[] = [];
  readonly #supply = this.#of('air/supply', 'pressure');
  readonly #parking = this.#of('air/parking', 'pressure');
  readonly #circuits = CIRCUITS.map((name) => this.#of(`air/${name}`, 'pressure'));
  readonly #speed = this.#of('tractor', 'speed');
  readonly #engineSpeed = this.#of('tractor', 'engine speed');
  readonly #ambient = this.#of('tractor', 'temperature');
  readonly #application = this.#of('brakes', 'application pressure');

  /** A run begins at t: what was told before is none of it. */
  begin(t: StreamMs): void {
    this.#from = t;
    for (const series of this.series.values()) series.lastAt = t - 1;
  }

  /** After the tick at t. @param shiftMs added to each instant */
  take(t: StreamMs, { layout, state }: Pipeline, shiftMs: number): void {
    if (layout !== this.#layout) this.#bind(layout);
    const { context, air } = state;
    this.#tellTires(state.tires, shiftMs);
    for (const { subject, code, stroke } of this.#ends) {
      const s = state.wheelEnds[subject];
      if (s === undefined) continue;
      this.#tell(code, s.at, s.code, shiftMs);
      this.#tell(stroke, s.strokeAt, s.strokeMm, shiftMs);
    }
    for (let i = 0; i < CIRCUITS.length; i++) {
      const circuit = circuitAt(air, CIRCUITS[i]!, t);
      if (circuit !== null) this.#tell(this.#circuits[i]!, circuit.at, circuit.kpa, shiftMs);
    }
    this.#tell(this.#supply, air.supply.at, air.supply.value, shiftMs);
    this.#tell(this.#parking, air.parking.at, air.parking.value, shiftMs);
    const speed = speedSample(context, t);
    this.#tell(this.#speed, speed.at, speed.value, shiftMs);
    this.#tell(this.#engineSpeed, context.engineSpeed.at, context.engineSpeed.value, shiftMs);
    this.#tell(this.#ambient, context.ambient.at, context.ambient.value, shiftMs);
    const application = pressureSample(state.pressures, t);
    if (application !== undefined) this.#tell(this.#application, application.at, application.value, shiftMs);
  }

  #tellTires(states: Pipeline['state']['tires'], shiftMs: number): void {
    for (const { subject, pressure, cold, temperature } of this.#tires) {
      const s = states[subject];
      if (s === undefined) continue;
      this.#tell(pressure, s.at, s.pressureKpa, shiftMs);
      if (s.coldKpa !== null) this.#tell(cold, s.at, s.coldKpa, shiftMs);
      this.#tell(temperature, s.temperatureAt, s.temperatureC, shiftMs);
    }
  }

  #tell(series: Series, at: StreamMs, value: number, shiftMs: number): void {
    if (at <= series.lastAt) return;
    series.lastAt = at;
    const [times, values] = series.rows.columns as [number[], number[]];
    times.push(at + shiftMs);
    values.push(value);
    this.rows++;
  }

  /** Another configuration may have other wheels. */
  #bind(layout: Layout): void {
    this.#layout = layout;
    this.#tires = layout.tires.map(({ subject }) => ({
      subject,
      pressure: this.#of(subject, 'pressure'),
      cold: this.#of(subject, 'cold pressure'),
      temperature: this.#of(subject, 'temperature'),
    }));
    this.#ends = layout.wheelEnds.map(({ subject }) => ({
      subject,
      code: this.#of(subject, 'stroke state'),
      stroke: this.#of(subject, 'stroke'),
    }));
  }

  #of(subject: string, quantity: SeriesQuantity): Series {
    const key = seriesKey(subject, quantity);
    const known = this.series.get(key);
    if (known !== undefined) return known;
    const series = { rows: new Growing(2), lastAt: this.#from - 1 };
    this.series.set(key, series);
    return series;
  }
}
