import type { Forecast, Measured } from '../alerts/event.js';
import type { Description, Judgement, Level, Subject } from '../alerts/judgement.js';
import { roundedTo } from '../alerts/rounding.js';
import { NEVER, type StreamMs } from '../time.js';
import type { CircuitName, CircuitsState } from './air-circuits.js';
import type { AirMoment } from './air-moment.js';
import { assess, type Piece, POINT_S } from './air-piece.js';
import { type BrakesAre, newSteady, Steady, type SteadyState } from './air-steady.js';
import type { Applications } from './applications.js';
import { theilSen } from './arithmetic/theil-sen.js';
import { evidencePoints, KPA, type Workbench } from './monitor.js';

const KPA_PER_MIN = 'kPa/min';
const MIN_MS = 60_000;
/** A forecast is for the standing truck: later than this after the piece nobody knows. */
const FORECAST_MS = 60_000;
/** Next-stop comes at so many times the limit of plan. */
const TWICE = 2;
const CIRCUITS: readonly CircuitName[] = ['primary', 'secondary'];

/** Points of one circuit in the piece that goes on. */
interface Series {
  /** Step of its sender; 0: not known, or its two senders differ. */
  stepKpa: number;
  sumKpa: number;
  points: number[];
}

/** The worst circuit of the last piece. */
interface Finding {
  circuit: CircuitName;
  kpaPerMin: number;
  low: number;
  high: number;
  limit: number;
  lastKpa: number;
  endAt: StreamMs;
  pointsAt: StreamMs[];
  points: number[];
}

export interface LeakTestState {
  steady: SteadyState;
  /** Ticks since the last point, and when that was. */
  ticks: number;
  pointAt: StreamMs;
  primary: Series;
  secondary: Series;
  released: Finding | null;
  applied: Finding | null;
}

const newSeries = (): Series => ({ stepKpa: 0, sumKpa: 0, points: [] });

export const newLeakTest = (): LeakTestState => ({
  steady: newSteady(),
  ticks: 0,
  pointAt: NEVER,
  primary: newSeries(),
  secondary: newSeries(),
  released: null,
  applied: null,
});

/**
 * Rule air-leaking: how fast a standing truck loses air out of a service circuit, with the brakes released and with them
 * applied. Each piece of time is one result; a leak is told from weather and from cooling air by falling evenly.
 */
export class AirLeaking {
  readonly #state: LeakTestState;
  readonly #bench: Workbench;
  readonly #rule: Judgement;
  readonly #steady: Steady;
  /** kPa/min for a combination of this size. */
  readonly #limits: Record<BrakesAre, number>;
  /** Numbers of the limits that each state of the brakes is judged by, and at how many times the figure. */
  readonly #judged: Record<BrakesAre, [k: number, times: number][]>;
  readonly #settleMs: number;
  readonly #leastPoints: number;
  readonly #mostPoints: number;
  readonly #lowAirKpa: number;

  constructor(bench: Workbench, rule: Judgement, state: LeakTestState, circuits: CircuitsState) {
    this.#state = state;
    this.#bench = bench;
    this.#rule = rule;
    this.#steady = new Steady(state.steady, circuits, bench.context, rule.constant('appliedFromKpa'));
    this.#limits = limitsFor(rule, bench.vehicles);
    this.#judged = {
      released: [
        [rule.limit('plan'), 1],
        [rule.limit('next-stop'), TWICE],
      ],
      applied: [
        [rule.limit('applied'), 1],
        [rule.limit('applied-far'), TWICE],
      ],
    };
    this.#settleMs = rule.constant('settleS') * 1000;
    this.#leastPoints = Math.ceil(rule.constant('pieceMinS') / POINT_S) + 1;
    this.#mostPoints = Math.max(this.#leastPoints, Math.floor(rule.constant('pieceMaxS') / POINT_S) + 1);
    this.#lowAirKpa = bench.judgement('air-low')?.limits[0]?.raise ?? Number.NaN;
    if (bench.isBus) {
      const pieces = rule.constant('busPieces');
      for (const limit of rule.limits) Object.assign(limit, { n: pieces, m: pieces });
    }
    rule.add('air/supply', 'air supply');
    rule.describe = (s, t, level) => this.#describe(s, t, level);
  }

  tick(m: AirMoment, applications: Applications): void {
    const s = this.#state;
    const { brakes, steadyAt } = s.steady;
    const isSteady =
      this.#steady.tick(m, applications) && CIRCUITS.every((name) => stepOf(m, name) === s[name].stepKpa);
    if (!isSteady || brakes === '') {
      // What was seen up to the last point is a piece, if it is long enough.
      if (brakes !== '' && s.primary.points.length >= this.#leastPoints) this.#judge(m.t, brakes);
      this.#begin(m);
      return;
    }
    // The first point lies at the end of the settling time, and is a mean of the seconds before it.
    if (m.t - steadyAt <= this.#settleMs - POINT_S * 1000) return;
    for (const name of CIRCUITS) s[name].sumKpa += m[name]?.kpa ?? 0;
    s.ticks++;
    if (s.ticks === POINT_S) this.#point(m.t, brakes);
  }

  quiesce(): void {
    Object.assign(this.#state.steady, newSteady());
    this.#begin(null);
  }

  /** Nothing is known yet of a piece that has to settle from now on. */
  #begin(m: AirMoment | null): void {
    const s = this.#state;
    s.ticks = 0;
    if (m !== null) s.steady.steadyAt = m.t;
    for (const name of CIRCUITS) {
      if (s[name].points.length > 0) s[name].points = [];
      s[name].sumKpa = 0;
      s[name].stepKpa = m === null ? 0 : stepOf(m, name);
    }
  }

  #point(t: StreamMs, brakes: BrakesAre): void {
    const s = this.#state;
    s.ticks = 0;
    s.pointAt = t;
    for (const name of CIRCUITS) {
      s[name].points.push(s[name].sumKpa / POINT_S);
      s[name].sumKpa = 0;
    }
    if (s.primary.points.length < this.#mostPoints) return;
    this.#judge(t, brakes);
    // The next piece begins where this one ends: nothing has to settle anew.
    for (const name of CIRCUITS) s[name].points = s[name].points.slice(-1);
  }

  #judge(t: StreamMs, brakes: BrakesAre): void {
    const s = this.#state;
    const endAt = s.pointAt;
    const known = CIRCUITS.filter((name) => s[name].stepKpa > 0);
    const pieces = known.map((name) => assess(s[name].points, s[name].stepKpa));
    if (pieces.length === 0) return;
    const limit = this.#limits[brakes];
    for (const [i, piece] of pieces.entries()) this.#keep(known[i]!, piece, endAt, brakes);
    const leaks = pieces.filter((p) => p.isLeak);
    const worst = (leaks.length > 0 ? leaks : pieces).reduce((a, b) => (b.kpaPerMin > a.kpaPerMin ? b : a));
    s[brakes] = this.#finding(known[pieces.indexOf(worst)]!, worst, endAt, limit);
    for (const [k, times] of this.#judged[brakes]) {
      const raising = pieces.some((p) => p.isLeak && p.kpaPerMin >= times * limit);
      // A fall that is no even one, or too small for the sensor, says nothing unless it cannot be a leak of that size.
      const isGood = pieces.every((p) => (p.isLeak ? p.kpaPerMin : p.mostKpaPerMin) < times * limit);
      if (raising || isGood) this.#rule.verdict(0, k, t, raising, false);
    }
  }

  #finding(circuit: CircuitName, piece: Piece, endAt: StreamMs, limit: number): Finding {
    const { points } = this.#state[circuit];
    const pointsAt = points.map((_, i) => endAt - (points.length - 1 - i) * POINT_S * 1000);
    const slope = theilSen(pointsAt, points);
    const { kpaPerMin } = piece;
    const low = slope === null ? kpaPerMin : Math.min(kpaPerMin, -slope.high * MIN_MS);
    const high = slope === null ? kpaPerMin : Math.max(kpaPerMin, -slope.low * MIN_MS);
    return { circuit, kpaPerMin, low, high, limit, lastKpa: points.at(-1)!, endAt, pointsAt, points: [...points] };
  }

  #keep(circuit: CircuitName, piece: Piece, endAt: StreamMs, state: BrakesAre): void {
    const rate = (kpaPerMin: number): number => roundedTo(KPA_PER_MIN, kpaPerMin)!;
    this.#bench.records.add({
      kind: 'air-test',
      subject: 'air/supply',
      startAt: endAt - piece.seconds * 1000,
      endAt,
      values: {
        state,
        circuit: `air/${circuit}`,
        seconds: piece.seconds,
        fallKpa: roundedTo(KPA, piece.fallKpa)!,
        kpaPerMin: rate(piece.kpaPerMin),
        thirds: piece.thirds.map(rate),
        units: this.#bench.vehicles,
        limit: this.#limits[state],
      },
    });
  }

  #describe(s: Subject, t: StreamMs, level: Level): Description {
    const isUp = (brakes: BrakesAre): boolean =>
      this.#judged[brakes].some(([k]) => s.evidence[k]!.up && this.#rule.limits[k]!.level === level);
    const brakes: BrakesAre =
      isUp('applied') && !isUp('released') ? 'applied' : this.#state.released === null ? 'applied' : 'released';
    const f = this.#state[brakes];
    if (f === null) return { measured: null };
    const measured: Measured = {
      quantity: `leak rate, ${f.circuit} circuit, brakes ${brakes}`,
      value: f.kpaPerMin,
      low: f.low,
      high: f.high,
      limit: level === 1 ? f.limit : TWICE * f.limit,
      unit: KPA_PER_MIN,
      quality: 'good',
    };
    const evidence = {
      quantity: `${f.circuit} circuit pressure`,
      unit: KPA,
      points: evidencePoints(f.pointsAt, f.points, t),
    };
    return { measured, evidence, forecast: this.#forecast(f, t) };
  }

  /** When the circuit comes to the limit of air-low if nothing pumps; null: not in sight, or the piece is long over. */
  #forecast(f: Finding, t: StreamMs): Forecast | null {
    const above = f.lastKpa - this.#lowAirKpa;
    if (!(above > 0) || !(f.low > 0) || t - f.endAt > FORECAST_MS) return null;
    const ms = (kpaPerMin: number): number => Math.max(0, Math.round((above / kpaPerMin) * MIN_MS) - (t - f.endAt));
    return {
      what: `low air in the ${f.circuit} circuit with the compressor at rest`,
      inMs: ms(f.kpaPerMin),
      fromMs: ms(f.high),
      toMs: ms(f.low),
    };
  }
}

/** The driver manuals' figures: one vehicle, two, three or more. */
function limitsFor(rule: Judgement, vehicles: number): Record<BrakesAre, number> {
  if (vehicles <= 1)
    return { released: rule.constant('releasedOneKpaPerMin'), applied: rule.constant('appliedOneKpaPerMin') };
  if (vehicles === 2)
    return { released: rule.constant('releasedTwoKpaPerMin'), applied: rule.constant('appliedTwoKpaPerMin') };
  return { released: rule.constant('releasedThreeKpaPerMin'), applied: rule.constant('appliedThreeKpaPerMin') };
}

/** 0: not known, or its two senders differ. */
function stepOf(m: AirMoment, name: CircuitName): number {
  const circuit = m[name];
  return circuit === null || circuit.differs ? 0 : circuit.stepKpa;
}
