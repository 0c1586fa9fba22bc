import type { Judgement, Subject } from '../alerts/judgement.js';
import { NEVER, type StreamMs } from '../time.js';
import type { Pair } from '../truck/layout.js';
import type { TireReading, Tires } from '../truck/tires.js';
import { medianInPlace } from './arithmetic/median.js';
import { evidencePoints, KPA, type Workbench } from './monitor.js';

/** One difference is kept per this long. */
const STEP_MS = 15_000;
/** TIRE2 tells whole kPa. */
const FINE_STEP_KPA = 1;

export interface PairState {
  /** Outer less inner, kPa, over the window. */
  differencesAt: StreamMs[];
  differences: number[];
  judgedKpa: number;
  /** Found at the last cold start. */
  coldStartKpa: number;
}

const newPair = (): PairState => ({ differencesAt: [], differences: [], judgedKpa: 0, coldStartKpa: 0 });

/** Rule duals-unequal: the two tires of a pair carry the load unequally. */
export class DualsUnequal {
  readonly #tires: Tires;
  readonly #rule: Judgement;
  readonly #pairs: readonly Pair[];
  readonly #states: PairState[];
  readonly #pairOf: number[];
  readonly #windowMs: number;

  constructor(bench: Workbench, rule: Judgement, states: Record<string, PairState>) {
    this.#tires = bench.tires;
    this.#rule = rule;
    this.#pairs = bench.layout.pairs;
    this.#windowMs = rule.constant('windowS') * 1000;
    this.#pairOf = bench.layout.tires.map((tire) => tire.pair);
    this.#states = this.#pairs.map((pair, i) => {
      states[pair.subject] ??= newPair();
      rule.add(pair.subject, pair.place, i);
      return states[pair.subject]!;
    });
    rule.describe = (s, t) => this.#describe(s, t);
    rule.fresh = (s, t) => {
      const pair = this.#pairs[s.index]!;
      return this.#tires.isFresh(pair.outer, t) && this.#tires.isFresh(pair.inner, t);
    };
  }

  reading(r: TireReading): void {
    const p = this.#pairOf[r.tire]!;
    if (p < 0) return;
    const pair = this.#pairs[p]!;
    const other = r.tire === pair.outer ? pair.inner : pair.outer;
    if (!this.#tires.isFresh(other, r.t)) return;
    const difference = this.#difference(pair, r.t);
    if (Number.isNaN(difference)) return;
    const s = this.#states[p]!;
    const last = s.differencesAt.at(-1) ?? NEVER;
    if (r.t - last >= STEP_MS) {
      s.differencesAt.push(r.t);
      s.differences.push(difference);
    }
    while (s.differencesAt.length > 0 && r.t - s.differencesAt[0]! > this.#windowMs) {
      s.differencesAt.shift();
      s.differences.shift();
    }
    s.judgedKpa = this.#toStep(pair, Math.abs(medianInPlace([...s.differences])));
    this.#rule.value(p, this.#rule.limit('plan'), r.t, r.ageMs, s.judgedKpa);
  }

  /** Baselines of a cold start are there: both tires at the same temperature, so less is needed to tell. */
  coldStart(t: StreamMs): void {
    for (const [p, pair] of this.#pairs.entries()) {
      const outer = this.#tires.states[pair.outer]!;
      const inner = this.#tires.states[pair.inner]!;
      if (outer.baseColdKpa < 0 || inner.baseColdKpa < 0) continue;
      const difference = this.#toStep(pair, Math.abs(outer.baseColdKpa - inner.baseColdKpa));
      const isFine = Math.max(outer.stepKpa, inner.stepKpa) <= FINE_STEP_KPA;
      const judged = this.#rule.limit(isFine ? 'cold-start-fine' : 'cold-start');
      const other = this.#rule.limit(isFine ? 'cold-start' : 'cold-start-fine');
      const { raise, clear } = this.#rule.limits[judged]!;
      const raising = difference >= raise;
      this.#states[p]!.coldStartKpa = difference;
      this.#rule.verdict(p, judged, t, raising, difference <= clear);
      this.#rule.verdict(p, other, t, false, true);
    }
  }

  /** By cold-equivalent and by raw pressure, the smaller, if both say the same tire is lower; raw alone without temperature. */
  #difference(pair: Pair, t: StreamMs): number {
    const outer = this.#tires.states[pair.outer]!;
    const inner = this.#tires.states[pair.inner]!;
    const raw = outer.pressureKpa - inner.pressureKpa;
    const cold = this.#tires.cold(pair.outer, t) - this.#tires.cold(pair.inner, t);
    if (Number.isNaN(cold)) return raw;
    if (raw * cold <= 0) return 0;
    return Math.abs(raw) < Math.abs(cold) ? raw : cold;
  }

  /** To the step of the coarser of the two senders. */
  #toStep(pair: Pair, kpa: number): number {
    const step = Math.max(this.#tires.states[pair.outer]!.stepKpa, this.#tires.states[pair.inner]!.stepKpa);
    return Math.round(kpa / step) * step;
  }

  /** The difference on the road, unless a cold start alone has shown it. */
  #describe(s: Subject, t: StreamMs) {
    const state = this.#states[s.index]!;
    const road = this.#rule.limit('plan');
    const holding = s.evidence.findIndex((e) => e.up);
    const isColdStart = holding >= 0 && !s.evidence[road]!.up;
    return {
      measured: {
        quantity: 'pressure difference',
        window: isColdStart ? 'cold start' : '15 min',
        value: isColdStart ? state.coldStartKpa : state.judgedKpa,
        limit: this.#rule.limits[isColdStart ? holding : road]!.raise,
        unit: KPA,
        quality: 'good' as const,
      },
      evidence: {
        quantity: 'outer less inner',
        unit: KPA,
        points: evidencePoints(state.differencesAt, state.differences, t),
      },
    };
  }
}
