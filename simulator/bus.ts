import { makeId } from '../daemon/j1939/identifier.js';
import { broadcast, dm1Payload, encodeGroup, nameBytes, type WireFrame } from './encode.js';
import { BACKGROUND, DM1_SENDERS, ENGINE, MESSAGES, type Message, TIRES, tireValues, UNITS } from './messages.js';
import type { Random } from './random.js';
import { type SimulatedTruck, STEP_MS } from './truck.js';

const TIRE1 = 65268;
const VI = 65260;
const DM1 = 65226;
const ADDRESS_CLAIM = 60928;
/** Units claim their address first and wait a quarter of a second before they send anything else. */
const CLAIM_WAIT_MS = 300;
const TIRE_SET_MS = 10_000;
/** Frames of one set of tires follow each other within 200 ms. */
const TIRE_GAP_MS = { least: 25, most: 45 };
const TIRE_LOSS = 0.05;
const JITTER_MS = 4;

interface Schedule {
  message: Message;
  next: number;
}

/** Turns the truck's state into frames, at the times at which its units would send them. */
export class Bus {
  private readonly truck: SimulatedTruck;
  private readonly random: Random;
  private schedules: Schedule[] = [];
  private nextSet = 0;
  private nextDm1: number[] = [];
  private nextBackground: number[] = [];
  private waiting: WireFrame[] = [];
  private awake = false;

  constructor(truck: SimulatedTruck, random: Random) {
    this.truck = truck;
    this.random = random.fork(3);
  }

  /** Frames of the step that just ended, in order of time. */
  collect(): WireFrame[] {
    const from = this.truck.t - STEP_MS;
    const awake = this.truck.mode !== 'off';
    if (awake && !this.awake) this.wake(from);
    if (!awake) this.waiting = [];
    this.awake = awake;
    if (!awake) return [];
    this.sendGroups();
    this.sendDm1();
    this.sendTires();
    const until = this.truck.t;
    const due = this.waiting.filter((frame) => frame.t < until);
    this.waiting = this.waiting.filter((frame) => frame.t >= until);
    return due.sort((a, b) => a.t - b.t || a.id - b.id);
  }

  private push(t: number, priority: number, pgn: number, source: number, data: Uint8Array): void {
    this.waiting.push({ t: t + this.random.whole(0, JITTER_MS), id: makeId({ priority, pgn, source }), data });
  }

  private wake(t: number): void {
    UNITS.forEach(({ source, functionCode }, i) => {
      this.push(t + 5 * i, 6, ADDRESS_CLAIM, source, nameBytes(0x1042 + source, functionCode));
    });
    const begin = t + CLAIM_WAIT_MS;
    this.schedules = MESSAGES.map((message) => ({ message, next: begin + this.random.whole(0, 1000 / message.hz) }));
    this.nextDm1 = DM1_SENDERS.map(() => begin + this.random.whole(0, 1000));
    this.nextBackground = BACKGROUND.map(() => begin + this.random.whole(0, 1000));
    this.nextSet = begin + this.random.whole(0, 2000);
    const vin = Uint8Array.from(`${this.truck.scenario.truck.vin}*`, (char) => char.charCodeAt(0));
    this.waiting.push(...broadcast(begin + 1500, ENGINE, VI, vin));
  }

  private hz(message: Message): number {
    const { thin } = this.truck.scenario;
    const { parkingBrake } = this.truck.vehicle;
    return (parkingBrake ? thin.parked[message.acronym] : thin.driving[message.acronym]) ?? message.hz;
  }

  private sendGroups(): void {
    for (const schedule of this.schedules) {
      const { message } = schedule;
      while (schedule.next < this.truck.t) {
        const data = encodeGroup(message.pgn, message.values(this.truck));
        this.push(schedule.next, message.priority, message.pgn, message.source, data);
        schedule.next += Math.round(1000 / this.hz(message));
      }
    }
    BACKGROUND.forEach(({ pgn, source, data }, i) => {
      if (this.nextBackground[i]! >= this.truck.t) return;
      this.push(this.nextBackground[i]!, 6, pgn, source, Uint8Array.from(data(this.truck)));
      this.nextBackground[i]! += 1000;
    });
  }

  private sendDm1(): void {
    DM1_SENDERS.forEach((source, i) => {
      const t = this.nextDm1[i]!;
      if (t >= this.truck.t) return;
      this.nextDm1[i] = t + 1000;
      const fault = this.truck.faults.codes(source, t / 1000);
      const payload = dm1Payload(fault?.lamp ?? 'none', fault?.codes ?? []);
      if (payload.length > 8) this.waiting.push(...broadcast(t, source, DM1, payload));
      else this.push(t, 6, DM1, source, payload);
    });
  }

  private sendTires(): void {
    if (this.nextSet >= this.truck.t) return;
    let t = this.nextSet;
    this.nextSet += TIRE_SET_MS;
    this.truck.subjects.tires.forEach(({ subject }, i) => {
      t += this.random.whole(TIRE_GAP_MS.least, TIRE_GAP_MS.most);
      const lost = this.random.chance(TIRE_LOSS);
      if (lost || this.truck.faults.silent(subject, t / 1000)) return;
      this.push(t, 6, TIRE1, TIRES, encodeGroup(TIRE1, tireValues(this.truck, i)));
    });
  }
}
