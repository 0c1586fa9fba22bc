import type { Description, Judgement, Level, Subject } from '../alerts/judgement.js';
import type { StreamMs, WallMs } from '../time.js';
import { type BuildUpState, newBuildUp, timeBuildUp } from './air-build-up.js';
import { Effort, type EffortState, newEffort } from './air-effort.js';
import { forgetLearned, judgeLearned, type LearnedState, learn, newLearned } from './air-learned.js';
import type { AirMoment } from './air-moment.js';
import { evidencePoints, type Workbench } from './monitor.js';

/** 49 CFR 571.121 S5.1.1: a compressor fills reservoirs of the required size in so many seconds, others in proportion. */
const REQUIRED_S = 25;
/** A build-up that takes longer than so many times its limit is slow, whenever it may end. */
const LONGEST = 4;
/** Where the rule is off the pieces are kept for cycles all the same. */
const OFF = { pieceKpa: 40, dayPieces: Number.POSITIVE_INFINITY, firstDays: 0 };

export interface BuildsSlowlyState {
  timing: BuildUpState;
  /** Seconds of the last build-ups that could be judged. */
  buildUps: LearnedState;
  effort: EffortState;
  shares: LearnedState;
}

export const newBuildsSlowly = (): BuildsSlowlyState => ({
  timing: newBuildUp(),
  buildUps: newLearned(),
  effort: newEffort(),
  shares: newLearned(),
});

/** Rule air-builds-slowly: by the driver manuals' time for a truck alone, and by revolutions against the truck's own first days. */
export class AirBuildsSlowly {
  readonly effort: Effort;
  readonly #state: BuildsSlowlyState;
  readonly #rule: Judgement | undefined;
  readonly #isAlone: boolean;
  readonly #limitS: number;
  readonly #clearS: number;

  /** combination: what the compressor fills now, as a text. */
  constructor(bench: Workbench, state: BuildsSlowlyState, combination: () => string) {
    this.#state = state;
    this.#isAlone = bench.vehicles === 1;
    const j = bench.judgement('air-builds-slowly');
    this.#rule = j;
    const limits = j === undefined ? OFF : effortLimits(j);
    this.effort = new Effort(state.effort, limits, combination, (t, share) => this.#judgeDay(t, share));
    const plan = j?.limits[j.limit('plan')];
    this.#limitS = j === undefined ? 0 : limitOf(j);
    this.#clearS = plan === undefined ? 0 : (this.#limitS * plan.clear) / plan.raise;
    if (j === undefined) return;
    j.add('air/supply', 'air supply');
    j.describe = (s, t, level) => this.#describe(s, t, level);
    j.onReset = () => {
      forgetLearned(state.buildUps);
      forgetLearned(state.shares);
    };
  }

  /** Called before the governor, which tells `effort` when the compressor pumps. */
  tick(m: AirMoment, calendarMs: WallMs | null): void {
    this.effort.tick(m.t, calendarMs);
    const j = this.#rule;
    if (j === undefined || !this.#isAlone) return;
    const { timing, buildUps } = this.#state;
    const [from, to] = [j.constant('fromKpa'), j.constant('toKpa')];
    const built = timeBuildUp(timing, m, from, to, LONGEST * this.#limitS * 1000);
    if (built === null || !(built.leastRpm >= j.constant('minRpm'))) return;
    learn(buildUps, m.t, built.seconds);
    judgeLearned(
      j,
      j.limit('plan'),
      buildUps,
      (s) => s > this.#limitS,
      (s) => s <= this.#clearS,
    );
  }

  quiesce(): void {
    this.#state.timing = newBuildUp();
    this.effort.quiesce();
  }

  #judgeDay(t: StreamMs, share: number): void {
    const j = this.#rule;
    if (j === undefined) return;
    const k = j.limit('against-itself');
    const { raise, clear } = j.limits[k]!;
    learn(this.#state.shares, t, share);
    judgeLearned(
      j,
      k,
      this.#state.shares,
      (x) => x >= raise,
      (x) => x <= clear,
    );
  }

  #describe(s: Subject, t: StreamMs, _: Level): Description {
    const j = this.#rule!;
    const itself = j.limit('against-itself');
    const { buildUps, shares } = this.#state;
    const byTime = s.evidence[j.limit('plan')]!.up || shares.values.length === 0;
    const last = byTime ? buildUps : shares;
    const value = last.values.at(-1);
    if (value === undefined) return { measured: null };
    const [quantity, unit, limit] = byTime
      ? ['build-up time', 's', this.#limitS]
      : ['revolutions per 100 kPa, of its first days', 'share', j.limits[itself]!.raise];
    return {
      measured: { quantity, value, limit, unit, quality: 'good' },
      evidence: { quantity, unit, points: evidencePoints(last.learnedAt, last.values, t) },
    };
  }
}

function effortLimits(j: Judgement) {
  return {
    pieceKpa: j.constant('pieceKpa'),
    dayPieces: j.constant('dayPieces'),
    firstDays: j.constant('firstDays'),
  };
}

/** Seconds that a build-up may take: by the reservoirs where the truck file gives both capacities, else as the level says. */
function limitOf(j: Judgement): number {
  const [actual, required] = [j.constant('reservoirsL'), j.constant('requiredL')];
  return actual > 0 && required > 0 ? (REQUIRED_S * actual) / required : j.limits[j.limit('plan')]!.raise;
}
