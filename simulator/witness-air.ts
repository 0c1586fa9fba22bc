import type { Moment } from './moment.js';
import { above, below, NO, SURE, Watch } from './watch.js';

const LOW = { kpa: 414, doubt: 10 };
const UNEQUAL = { kpa: 103, doubt: 10, afterBrakingS: 20 };
const WORKS = { windowS: 3600, leastS: 1800, share: 0.5, doubt: 0.06, plentyKpa: 480 };
const BUILDS = { fromKpa: 586, toKpa: 689, rpm: 1000, s: 45, doubtS: 6 };
const CUT_IN = { kpa: 672, busKpa: 570, doubt: 14 };
const CUT_OUT = { planKpa: 965, nextStopKpa: 1034, doubt: 14 };
const QUIET_S = 5;
/** Driver-manual leak figures, kPa/min, by number of units less one. */
const LEAKS = { released: [13.8, 20.7, 34.5], applied: [20.7, 27.6, 41.4], doubt: 0.2 };
const TEST = { settleS: 90, pieceS: 300, leastS: 60, appliedKpa: 620 };

/** Looks at the reservoirs, the compressor and its governor. */
export class AirWitness {
  readonly watches: Watch[] = [];
  private readonly at: Moment;
  private readonly low = this.watch('air-low', 'air/service', 'pull-over', 10);
  private readonly unequal = this.watch('circuits-unequal', 'air/service', 'next-stop', 90);
  private readonly works = this.watch('compressor-overworked', 'air/supply', 'plan', 120);
  private readonly slow = this.watch('air-builds-slowly', 'air/supply', 'plan', 2, 2);
  private readonly cutIn = this.watch('air-cut-in-low', 'air/supply', 'plan', 4, 3);
  private readonly cutOut = this.watch('air-cut-out-high', 'air/supply', 'plan', 4, 3);
  private readonly cutOutFar = this.watch('air-cut-out-high', 'air/supply', 'next-stop', 3, 2);
  /** Of tests with the brakes released, and applied: each has its own row. */
  private readonly leaks: Record<'released' | 'applied', { plan: Watch; far: Watch }>;
  private readonly pumped = new Uint8Array(WORKS.windowS);
  private seconds = 0;
  private pumpedS = 0;
  private wasPumping = false;
  private buildsFrom = Number.NaN;
  /** A leak test that nobody disturbs: begin, and pressures there. */
  private test = { at: Number.NaN, kpa: 0, primary: 0, secondary: 0, standsFrom: Number.NaN, firstAt: Number.NaN };

  constructor(at: Moment) {
    this.at = at;
    const pieces = at.truck.scenario.truck.vehicle === 'bus' ? 3 : 2;
    const both = () => ({
      plan: this.watch('air-leaking', 'air/supply', 'plan', pieces, pieces),
      far: this.watch('air-leaking', 'air/supply', 'next-stop', pieces, pieces),
    });
    this.leaks = { released: both(), applied: both() };
  }

  private watch(
    rule: Watch['options']['rule'],
    subject: string,
    urgency: Watch['options']['urgency'],
    need: number,
    nth = 0,
  ): Watch {
    const made = new Watch({ rule, subject, urgency, need, ...(nth > 0 ? { of: 'occurrences', nth } : {}) });
    this.watches.push(made);
    return made;
  }

  look(): void {
    const { at } = this;
    const { faults, air } = at.truck;
    const heard = at.awake && !faults.busSilent && !faults.missing.has(117);
    const expected = (at.running || at.moving) && !at.charging && !at.cranked;
    const lower = Math.min(air.primaryKpa, air.secondaryKpa);
    this.low.see(at.t, expected ? below(lower, LOW.kpa, LOW.doubt) : NO, heard);
    const apart = Math.abs(air.primaryKpa - air.secondaryKpa);
    const calm = at.awake && !at.charging && at.releasedS > UNEQUAL.afterBrakingS;
    const unequal = above(apart, UNEQUAL.kpa, UNEQUAL.doubt);
    // Braking stops the evidence and does not end the difference.
    this.unequal.see(at.t, at.awake ? unequal : NO, heard && calm && at.running);
    if (!at.awake) {
      this.stopTest();
      this.buildsFrom = Number.NaN;
      return;
    }
    this.work();
    this.build(lower);
    this.govern();
    this.seeTest();
  }

  private work(): void {
    const { at } = this;
    if (!at.running) return;
    const slot = this.seconds % WORKS.windowS;
    this.pumpedS += Number(at.truck.air.pumping) - this.pumped[slot]!;
    this.pumped[slot] = Number(at.truck.air.pumping);
    this.seconds += 1;
    const span = Math.min(this.seconds, WORKS.windowS);
    if (span < WORKS.leastS || at.truck.scenario.truck.vehicle === 'bus') return;
    // Low air is told first, and nothing else of the supply with it.
    const { primaryKpa, secondaryKpa } = at.truck.air;
    const plenty = Math.min(primaryKpa, secondaryKpa) > WORKS.plentyKpa;
    this.works.see(at.t, above(this.pumpedS / span, WORKS.share, WORKS.doubt), plenty);
  }

  /** From 85 to 100 psi with enough revolutions and no application; judged for a truck that tows nothing. */
  private build(lower: number): void {
    const { at } = this;
    const { vehicle, air, scenario } = at.truck;
    if (scenario.truck.units.length > 1) return;
    const good = vehicle.rpm >= BUILDS.rpm && !at.applied && air.pumping;
    if (!good || lower < BUILDS.fromKpa) this.buildsFrom = Number.NaN;
    if (good && lower < BUILDS.fromKpa) this.buildsFrom = at.t;
    else if (good && Number.isNaN(this.buildsFrom)) return;
    if (Number.isNaN(this.buildsFrom) || lower < BUILDS.toKpa) return;
    const took = (at.t - this.buildsFrom) / 1000 - BUILDS.s;
    this.buildsFrom = Number.NaN;
    if (took > -BUILDS.doubtS) this.slow.happened(at.t, took > BUILDS.doubtS);
    else this.slow.broken();
  }

  private govern(): void {
    const { at } = this;
    const { air, scenario } = at.truck;
    const { pumping, options } = air;
    const limit = scenario.truck.vehicle === 'bus' ? CUT_IN.busKpa : CUT_IN.kpa;
    const calm = at.releasedS > QUIET_S;
    // At a start it pumps because the tanks are empty, not because the governor says so.
    if (pumping && !this.wasPumping && !at.cranked && calm) {
      const grade = below(options.cutInKpa, limit, CUT_IN.doubt);
      if (grade > NO) this.cutIn.happened(at.t, grade === SURE);
    }
    if (!pumping && this.wasPumping && at.running) {
      const plan = above(options.cutOutKpa, CUT_OUT.planKpa, CUT_OUT.doubt);
      const far = above(options.cutOutKpa, CUT_OUT.nextStopKpa, CUT_OUT.doubt);
      if (plan > NO) this.cutOut.happened(at.t, plan === SURE);
      if (far > NO) this.cutOutFar.happened(at.t, far === SURE);
    }
    this.wasPumping = pumping;
  }

  private stopTest(): void {
    this.test.standsFrom = this.test.at = Number.NaN;
  }

  /** Standing, nobody pumps, nobody touches the brakes: pieces of up to five minutes, as a leak test is made. */
  private seeTest(): void {
    const { at, test } = this;
    const { vehicle, air } = at.truck;
    const still = vehicle.speedKmh === 0 && vehicle.parkingBrake && !air.pumping;
    const changed = Math.abs(vehicle.brakeKpa - test.kpa) > 4;
    if (!still || changed) {
      if (!Number.isNaN(test.at)) this.endPiece();
      this.stopTest();
    }
    test.kpa = vehicle.brakeKpa;
    if (!still) return;
    if (Number.isNaN(test.standsFrom)) test.standsFrom = at.t;
    if (at.t - test.standsFrom < TEST.settleS * 1000) return;
    if (!Number.isNaN(test.at) && at.t - test.at >= TEST.pieceS * 1000) this.endPiece();
    if (Number.isNaN(test.at)) Object.assign(test, { at: at.t, primary: air.primaryKpa, secondary: air.secondaryKpa });
  }

  private endPiece(): void {
    const { at, test } = this;
    const { air, scenario } = at.truck;
    const minutes = (at.t - test.at) / 60_000;
    const began = test.at;
    test.at = Number.NaN;
    if (minutes * 60 < TEST.leastS) return;
    const applied = test.kpa >= TEST.appliedKpa;
    if (test.kpa > 4 && !applied) return;
    const fell = Math.max(test.primary - air.primaryKpa, test.secondary - air.secondaryKpa) / minutes;
    const units = Math.min(scenario.truck.units.length, 3) - 1;
    const state = applied ? 'applied' : 'released';
    const limit = LEAKS[state][units]!;
    this.judgeLeak(this.leaks[state].plan, began, fell, limit);
    this.judgeLeak(this.leaks[state].far, began, fell, 2 * limit);
  }

  private judgeLeak(watch: Watch, began: number, fell: number, limit: number): void {
    const grade = above(fell, limit, limit * LEAKS.doubt);
    if (grade === NO) watch.broken();
    else watch.happened(began, grade === SURE);
  }
}
