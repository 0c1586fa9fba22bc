import { makeId } from '../daemon/j1939/identifier.js';
import type { FrameQueue } from './frame-queue.js';
import { TIRES } from './messages.js';
import type { Random } from './random.js';
import { TIRE1, TIRE2, writeStranger, writeTire } from './tire-messages.js';
import { type SimulatedTruck, STEP_MS } from './truck.js';

const SET_MS = 10_000;
/** Frames of one set of tires follow each other within 200 ms. */
const GAP_MS = { least: 25, most: 45 };
const JITTER_MS = 4;
/** A sensor's own clock: 10 s, a little different each time. */
const OWN_MS = { least: 9600, most: 10_400 };
/** A sensor that sees its pressure fall by so much since its last report reports at once, and then often for a while. */
const FALL_KPA = 10;
const LOOKS_MS = 2000;
const HURRY_MS = 2000;
const HURRIES_S = 120;
/** Asleep it only tells that it is there. */
const ASLEEP_MS = 120_000;

const TIRE1_ID = makeId({ priority: 6, pgn: TIRE1, source: TIRES });
const TIRE2_ID = makeId({ priority: 6, pgn: TIRE2, source: TIRES });

/** What one sensor does on its own: when it reports next, and what it told last. */
interface Own {
  next: number;
  looksAt: number;
  toldKpa: number;
  hurriesUntilS: number;
}

/** The tire controller: sets of all tires every ten seconds, or what it hears when it hears it. */
export class TireSender {
  private readonly truck: SimulatedTruck;
  private readonly random: Random;
  private readonly queue: FrameQueue;
  private readonly both: boolean;
  private readonly single: boolean;
  private own: Own[] = [];
  private nextSet = 0;
  private nextStrange = 0;

  constructor(truck: SimulatedTruck, random: Random, queue: FrameQueue) {
    this.truck = truck;
    this.random = random;
    this.queue = queue;
    this.both = truck.scenario.sensors.message === 'TIRE2';
    this.single = truck.scenario.sensors.sending === 'single';
  }

  wake(begin: number): void {
    this.nextSet = begin + this.random.whole(0, 2000);
    this.nextStrange = this.nextSet;
    if (!this.single) return;
    this.own = this.truck.subjects.tires.map(() => ({
      next: begin + this.random.whole(0, OWN_MS.most),
      looksAt: begin,
      toldKpa: Number.NaN,
      hurriesUntilS: 0,
    }));
  }

  speak(): void {
    if (this.single) this.sendHeard();
    else this.sendSet();
    const { strange } = this.truck.faults;
    if (strange.length > 0 && this.nextStrange < this.truck.t) this.sendStrange(strange);
  }

  private sendSet(): void {
    const { truck, random } = this;
    if (this.nextSet >= truck.t) return;
    let t = this.nextSet;
    this.nextSet += SET_MS;
    const { loss } = truck.scenario.sensors;
    for (let i = 0; i < truck.subjects.tires.length; i += 1) {
      t += random.whole(GAP_MS.least, GAP_MS.most);
      const lost = random.chance(loss);
      if (lost || !truck.wheels.isPresent(i) || truck.faults.silent(i, t / 1000)) continue;
      this.put(t, i);
    }
  }

  private sendHeard(): void {
    const { truck } = this;
    for (let i = 0; i < this.own.length; i += 1) {
      const own = this.own[i]!;
      if (truck.t > own.looksAt) this.look(own, i);
      if (own.next >= truck.t) continue;
      const t = own.next;
      own.next += this.pause(own, t / 1000);
      if (!truck.wheels.isPresent(i) || truck.faults.silent(i, t / 1000)) continue;
      truck.wheels.measure(i, t / 1000, truck.outsideKpa);
      own.toldKpa = truck.samples[i]!.kpa;
      if (!this.random.chance(truck.scenario.sensors.loss)) this.put(t, i);
    }
  }

  /** Between reports a sensor looks at its pressure itself. */
  private look(own: Own, place: number): void {
    own.looksAt += LOOKS_MS;
    const { truck } = this;
    if (!truck.scenario.sensors.wakesOnLeak || truck.faults.tires[place]!.stuck) return;
    if (own.toldKpa - truck.wheels.trueGaugeKpa(place, truck.outsideKpa) < FALL_KPA) return;
    own.hurriesUntilS = truck.t / 1000 + HURRIES_S;
    own.next = Math.min(own.next, truck.t);
    own.toldKpa = Number.NaN;
  }

  private pause({ hurriesUntilS }: Own, s: number): number {
    if (s < hurriesUntilS) return HURRY_MS;
    if (this.truck.stoodS > this.truck.scenario.sensors.sleepAfterMin * 60) return ASLEEP_MS;
    return this.random.whole(OWN_MS.least, OWN_MS.most);
  }

  private put(t: number, place: number): void {
    const at = t + this.random.whole(0, JITTER_MS);
    writeTire(this.queue.put(at, TIRE1_ID), TIRE1, this.truck, place);
    if (this.both) writeTire(this.queue.put(at + 1, TIRE2_ID), TIRE2, this.truck, place);
  }

  private sendStrange(strange: readonly number[]): void {
    // It may begin long after the others woke.
    this.nextStrange = Math.max(this.nextStrange, this.truck.t - STEP_MS);
    for (const [i, location] of strange.entries())
      writeStranger(this.queue.put(this.nextStrange + 40 * i, TIRE1_ID), location);
    this.nextStrange += SET_MS;
  }
}
