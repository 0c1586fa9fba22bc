import { type Moment, medianOf } from './moment.js';
import { above, below, both, either, type Grade, NEAR, NO, SURE, THERE, Watch } from './watch.js';

/** A gap in what is known of a tire: what fell in it is no leak. */
const GAP_S = 120;
const OFF_TARGET = { low: 0.04, high: 0.12, doubt: 0.015 };
/** How far a share can be wrong: sensors, lag, neighbours. */
const SHARE_DOUBT = 0.03;
/** sure: a fall so fast is one beyond doubt, although a tire that warms gains a few kPa/min meanwhile. */
const RAPID = { kpaPerMin: 8, sureKpaPerMin: 12, kpa: 12, doubt: 8 };
const STEADY = { kpaPerMin: 1.75, sureKpaPerMin: 2.5, kpa: 12, doubt: 8 };
const SLOW = { kpaPerDay: 5, most: 0.5, kpa: 16, doubt: 8 };
const HOT = { nextStopC: 110, pullOverC: 120, doubtC: 4, abovePeersC: 30, floorC: 70 };
const PAIR = { kpa: 48, doubt: 10, coldKpa: 28 };
/** Parked for so long, a start is a cold one. */
const COLD_S = 3 * 3600;

interface TireWatches {
  plan: Watch;
  nextStop: Watch;
  pullOver: Watch;
  over: Watch;
  rapid: Watch;
  steady: Watch;
  slow: Watch;
  hot: Watch;
  tooHot: Watch;
  silent: Watch;
  fault: Watch;
}

/** How much a tire fell faster than a leak of that class is allowed to, and since when. */
class Fall {
  kpa = 0;
  sureKpa = 0;
  began = 0;

  add(t: number, fallKpa: number, limit: typeof RAPID, dtS: number): void {
    if (this.kpa === 0) this.began = t;
    this.kpa = Math.max(0, this.kpa + fallKpa - (limit.kpaPerMin / 60) * dtS);
    this.sureKpa = Math.max(0, this.sureKpa + fallKpa - (limit.sureKpaPerMin / 60) * dtS);
  }
}

/** Looks into the tires: by place, as the receiver calls them. */
export class TireWitness {
  readonly watches: Watch[] = [];
  private readonly at: Moment;
  private readonly tires: TireWatches[];
  private readonly pairs: Watch[];
  private readonly offTarget: Watch;
  private readonly shares: number[];
  private readonly before: number[];
  private readonly rapid: Fall[];
  private readonly steady: Fall[];
  private readonly leaked: boolean[];
  private readonly lost: number[];
  private readonly warm: number[];
  private readonly coldStarts: number[];
  private wasAwake = false;
  private sleptS = COLD_S;

  constructor(at: Moment) {
    this.at = at;
    const { tires, pairs } = at.truck.subjects;
    const watch = (options: ConstructorParameters<typeof Watch>[0]): Watch => {
      const made = new Watch(options);
      this.watches.push(made);
      return made;
    };
    this.tires = tires.map(({ subject }) => ({
      plan: watch({ rule: 'tire-underinflated', subject, urgency: 'plan', need: 700 }),
      nextStop: watch({ rule: 'tire-underinflated', subject, urgency: 'next-stop', need: 180 }),
      pullOver: watch({ rule: 'tire-underinflated', subject, urgency: 'pull-over', need: 60 }),
      over: watch({ rule: 'tire-overinflated', subject, urgency: 'plan', need: 700 }),
      rapid: watch({ rule: 'tire-losing-air', subject, urgency: 'pull-over', need: 40 }),
      steady: watch({ rule: 'tire-losing-air', subject, urgency: 'next-stop', need: 60 }),
      slow: watch({ rule: 'tire-losing-air', subject, urgency: 'plan', need: 2, of: 'occurrences', nth: 1 }),
      hot: watch({ rule: 'tire-hot', subject, urgency: 'next-stop', need: 380 }),
      tooHot: watch({ rule: 'tire-hot', subject, urgency: 'pull-over', need: 120 }),
      silent: watch({ rule: 'tire-sensor-silent', subject, urgency: 'plan', need: 600 }),
      fault: watch({ rule: 'tire-sensor-fault', subject, urgency: 'plan', need: 60 }),
    }));
    this.pairs = pairs.map(({ subject }) => watch({ rule: 'duals-unequal', subject, urgency: 'plan', need: 1800 }));
    this.offTarget = watch({ rule: 'tires-off-target', subject: 'layout', urgency: 'plan', need: 2400 });
    const each = (value: number) => tires.map(() => value);
    this.shares = each(1);
    this.before = tires.map((_, i) => this.coldKpa(i));
    this.rapid = tires.map(() => new Fall());
    this.steady = tires.map(() => new Fall());
    this.leaked = tires.map(() => false);
    this.lost = each(0);
    this.warm = each(0);
    this.coldStarts = each(0);
  }

  look(): void {
    const { at } = this;
    const { wheels } = at.truck;
    if (at.awake && !this.wasAwake && this.sleptS >= COLD_S) this.startCold();
    this.sleptS = at.awake ? 0 : this.sleptS + at.dtS;
    this.wasAwake = at.awake;
    for (let i = 0; i < this.tires.length; i += 1) {
      this.shares[i] = this.coldKpa(i) / wheels.tires[wheels.heardFrom[i]!]!.targetKpa;
      this.warm[i] = wheels.tires[wheels.heardFrom[i]!]!.sensorC;
    }
    const median = medianOf(this.shares);
    this.seeOffTarget(Math.abs(median - 1));
    for (let i = 0; i < this.tires.length; i += 1) {
      this.seeFall(i);
      if (!at.awake) continue;
      this.seeShare(i, median);
      this.seeHeat(i);
      this.seeSensor(i);
    }
    if (at.awake) for (let i = 0; i < this.pairs.length; i += 1) this.seePair(i);
  }

  private coldKpa(place: number): number {
    const { wheels } = this.at.truck;
    return wheels.tires[wheels.heardFrom[place]!]!.coldKpa();
  }

  /** Its sensor can tell of the air. */
  private visible(place: number): boolean {
    const { faults, wheels } = this.at.truck;
    const { stuck, says, driftKpaPerHour } = faults.tires[place]!;
    const heard = this.at.awake && wheels.isPresent(place) && !faults.silent(place, this.at.t / 1000);
    const clean = !stuck && says === null && driftKpaPerHour === 0;
    return heard && clean && !faults.busSilent && !faults.silentSources.has(51) && !faults.missing.has(242);
  }

  private seeShare(i: number, median: number): void {
    const share = this.shares[i]!;
    const off = Math.abs(median - 1);
    // A common shift takes the plan level along; near its edges nobody can tell whether it does.
    const shifted = off >= OFF_TARGET.low - OFF_TARGET.doubt && off <= OFF_TARGET.high + OFF_TARGET.doubt;
    const other = shifted ? share / median : share;
    const { plan, nextStop, pullOver, over } = this.tires[i]!;
    const { t } = this.at;
    const visible = this.visible(i);
    const grades = (limit: number): Grade => below(share, limit, SHARE_DOUBT);
    const low = both(grades(0.9), below(other, 0.9, SHARE_DOUBT));
    plan.see(t, low === NO && either(grades(0.9), below(other, 0.9, SHARE_DOUBT)) > NO ? NEAR : low, visible);
    nextStop.see(t, grades(0.8), visible);
    pullOver.see(t, grades(0.5), visible);
    over.see(t, above(share, 1.25, 2 * SHARE_DOUBT), visible);
  }

  private seeFall(i: number): void {
    const { dtS, awake } = this.at;
    const now = this.coldKpa(i);
    const fell = this.before[i]! - now;
    this.before[i] = now;
    const { faults, wheels } = this.at.truck;
    const own = faults.tires[wheels.heardFrom[i]!]!;
    const perDay = own.leakKpaPerMin * 1440;
    if (fell < 0) this.lost[i] = 0;
    else if (perDay > SLOW.kpaPerDay && own.leakKpaPerMin < SLOW.most) this.lost[i]! += fell;
    const { rapid, steady } = this.tires[i]!;
    const gap = dtS > GAP_S || !awake;
    this.judgeFall(rapid, this.rapid[i]!, i, gap ? Number.NEGATIVE_INFINITY : fell, RAPID);
    this.judgeFall(steady, this.steady[i]!, i, gap ? Number.NEGATIVE_INFINITY : fell, STEADY);
  }

  private judgeFall(watch: Watch, fall: Fall, i: number, fell: number, limit: typeof RAPID): void {
    fall.add(this.at.t, fell, limit, this.at.dtS);
    if (fall.kpa >= limit.kpa - limit.doubt) this.leaked[i] = true;
    const grade = above(fall.kpa, limit.kpa, limit.doubt);
    const sure = fall.sureKpa >= limit.kpa ? grade : both(grade, THERE);
    if (fall.kpa > 0) watch.see(this.at.t, sure, this.visible(i), fall.began);
    else watch.see(this.at.t, NO, false);
  }

  /** A leak over days shows at cold starts only: the first after enough was lost, and the next to be sure. */
  private startCold(): void {
    for (let i = 0; i < this.tires.length; i += 1) {
      this.coldStarts[i]! += 1;
      if (this.lost[i]! < SLOW.kpa - SLOW.doubt || this.coldStarts[i]! < 3) continue;
      this.tires[i]!.slow.happened(this.at.t, this.lost[i]! >= SLOW.kpa + SLOW.doubt);
    }
  }

  private seeHeat(i: number): void {
    const celsius = this.warm[i]!;
    const { hot, tooHot } = this.tires[i]!;
    const { t } = this.at;
    const visible = this.visible(i);
    let grade = above(celsius, HOT.nextStopC, HOT.doubtC);
    if (celsius >= HOT.floorC - HOT.doubtC) {
      const { tires } = this.at.truck.subjects;
      const peers = this.warm.filter((_, k) => k !== i && tires[k]!.peers === tires[i]!.peers);
      if (peers.length >= 3) {
        const over = above(celsius - medianOf(peers), HOT.abovePeersC, HOT.doubtC);
        grade = either(grade, both(over, above(celsius, HOT.floorC, HOT.doubtC)));
      }
    }
    hot.see(t, grade, visible);
    tooHot.see(t, above(celsius, HOT.pullOverC, HOT.doubtC), visible);
  }

  private seeSensor(i: number): void {
    const { t, moving } = this.at;
    const { faults, wheels } = this.at.truck;
    const { says } = faults.tires[i]!;
    const gone = faults.silent(i, t / 1000) || says === 'nothing' || says === 'idle';
    const { silent, fault } = this.tires[i]!;
    const heard = !faults.busSilent && !faults.silentSources.has(51) && wheels.isPresent(i);
    silent.see(t, gone ? SURE : NO, moving && heard);
    const wrong = says === 'electrical' || says === 'error' || says === 'impossible';
    fault.see(t, wrong ? SURE : NO, heard && !faults.silent(i, t / 1000));
  }

  private seePair(i: number): void {
    const { outer, inner } = this.at.truck.subjects.pairs[i]!;
    const apart = Math.abs(this.coldKpa(outer) - this.coldKpa(inner));
    const grade = above(apart, PAIR.kpa, PAIR.doubt);
    // Once one of them leaks, that is what is told.
    const leaking = this.leaked[outer]! || this.leaked[inner]!;
    const near = grade === NO && apart >= PAIR.coldKpa ? NEAR : grade;
    this.pairs[i]!.see(this.at.t, leaking && near === SURE ? THERE : near, this.visible(outer) && this.visible(inner));
  }

  private seeOffTarget(off: number): void {
    if (!this.at.awake) return;
    const grade = both(above(off, OFF_TARGET.low, OFF_TARGET.doubt), below(off, OFF_TARGET.high, OFF_TARGET.doubt));
    this.offTarget.see(this.at.t, grade, true);
  }
}
