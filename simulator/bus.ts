import { makeId } from '../daemon/j1939/identifier.js';
import { broadcast, dm1Payload, GroupWriter, nameBytes, type WireFrame } from './encode.js';
import { ERROR_FLAG, FrameQueue, type TakeFrame } from './frame-queue.js';
import {
  BACKGROUND,
  BRAKES,
  DM1_SENDERS,
  ENGINE,
  MESSAGES,
  type Message,
  MORE_MESSAGES,
  STROKE_MM_PER_BIT,
  STROKE_PGNS,
  UNITS,
} from './messages.js';
import type { Random } from './random.js';
import { TireSender } from './tire-sender.js';
import { type SimulatedTruck, STEP_MS } from './truck.js';

const VI = 65260;
const DM1 = 65226;
const ADDRESS_CLAIM = 60928;
/** Units claim their address first and wait a quarter of a second before they send anything else. */
const CLAIM_WAIT_MS = 300;
const JITTER_MS = 4;
const DM1_MS = 1000;
/** A DM1 without a code says nothing new. */
const THIN_DM1_MS = 5000;
const STROKE_MS = 500;
/** Error classes of SocketCAN: bus-off, and a protocol violation on the wire. */
const CLASS_BUS_OFF = 0x40;
const CLASS_PROTOCOL = 0x08;

interface Schedule {
  message: Message;
  id: number;
  writer: GroupWriter<SimulatedTruck>;
  next: number;
}

/** Turns the truck's state into frames, at the times at which its units would send them. */
export class Bus {
  private readonly truck: SimulatedTruck;
  private readonly random: Random;
  private readonly thin: boolean;
  private readonly queue = new FrameQueue();
  private readonly schedules: Schedule[];
  private readonly tires: TireSender;
  private nextDm1: number[] = [];
  private nextBackground: number[] = [];
  private nextStroke = 0;
  private nextError = Number.NaN;
  private awake = false;

  /** thin: only what rules need, as rarely as they can do with. */
  constructor(truck: SimulatedTruck, random: Random, thin = false) {
    this.truck = truck;
    this.random = random.fork(3);
    this.thin = thin;
    const also = MORE_MESSAGES.filter(({ acronym }) => truck.scenario.also.some((one) => one === acronym));
    this.schedules = [...MESSAGES, ...also].map((message) => ({
      message,
      id: makeId(message),
      writer: new GroupWriter(message.pgn, message.values),
      next: 0,
    }));
    this.tires = new TireSender(truck, this.random, this.queue);
  }

  /** Hands over the frames of the step that just ended, in order of time. */
  collect(frame: TakeFrame): void {
    const { truck } = this;
    const from = truck.t - STEP_MS;
    const awake = truck.mode !== 'off';
    if (awake && !this.awake) this.wake(from);
    this.awake = awake;
    if (!awake) {
      this.queue.clear();
      return;
    }
    this.sendGroups();
    this.sendDm1();
    this.tires.speak();
    if (truck.scenario.brakes.measured) this.sendStroke();
    const { busErrors, busSilent, silentSources } = truck.faults;
    if (busErrors !== null || !Number.isNaN(this.nextError)) this.sendErrors(from);
    if (busSilent || silentSources.size > 0) {
      this.queue.take(truck.t, (t, id, data) => {
        if (!busSilent && !silentSources.has(id & 0xff)) frame(t, id, data);
      });
    } else this.queue.take(truck.t, frame);
  }

  private put(t: number, id: number, data: ArrayLike<number>): void {
    this.queue.put(t, id).set(data);
  }

  private putJittered(t: number, id: number): Uint8Array {
    return this.queue.put(t + this.random.whole(0, JITTER_MS), id);
  }

  private putAll(frames: readonly WireFrame[]): void {
    for (const { t, id, data } of frames) this.put(t, id, data);
  }

  private wake(t: number): void {
    UNITS.forEach(({ source, functionCode }, i) => {
      const id = makeId({ priority: 6, pgn: ADDRESS_CLAIM, source });
      this.putJittered(t + 5 * i, id).set(nameBytes(0x1042 + source, functionCode));
    });
    const begin = t + CLAIM_WAIT_MS;
    for (const schedule of this.schedules)
      schedule.next = begin + this.random.whole(0, 1000 / (this.thin ? schedule.message.thinHz : schedule.message.hz));
    this.nextDm1 = DM1_SENDERS.map(() => begin + this.random.whole(0, 1000));
    this.nextBackground = BACKGROUND.map(() => begin + this.random.whole(0, 1000));
    this.nextStroke = begin;
    this.tires.wake(begin);
    const vin = Uint8Array.from(`${this.truck.scenario.truck.vin}*`, (char) => char.charCodeAt(0));
    this.putAll(broadcast(begin + 1500, ENGINE, VI, vin));
  }

  private hz({ acronym, hz, thinHz }: Message): number {
    if (this.thin) return thinHz;
    const { thin } = this.truck.scenario;
    return (this.truck.vehicle.parkingBrake ? thin.parked[acronym] : thin.driving[acronym]) ?? hz;
  }

  private sendGroups(): void {
    const { truck } = this;
    for (const schedule of this.schedules) {
      while (schedule.next < truck.t) {
        schedule.writer.write(this.putJittered(schedule.next, schedule.id), truck, truck.faults.missing);
        schedule.next += Math.round(1000 / this.hz(schedule.message));
      }
    }
    if (this.thin) return;
    BACKGROUND.forEach(({ pgn, source, data }, i) => {
      if (this.nextBackground[i]! >= truck.t) return;
      this.putJittered(this.nextBackground[i]!, makeId({ priority: 6, pgn, source })).set(data(truck));
      this.nextBackground[i]! += 1000;
    });
  }

  private sendDm1(): void {
    for (const [i, source] of DM1_SENDERS.entries()) {
      const t = this.nextDm1[i]!;
      if (t >= this.truck.t) continue;
      const fault = this.truck.faults.codes(source, t / 1000);
      this.nextDm1[i] = t + (this.thin && fault === null ? THIN_DM1_MS : DM1_MS);
      const payload = dm1Payload(fault?.lamp ?? 'none', fault?.codes ?? []);
      if (payload.length > 8) this.putAll(broadcast(t, source, DM1, payload));
      else this.putJittered(t, makeId({ priority: 6, pgn: DM1, source })).set(payload);
    }
  }

  /** Eight wheel ends to a group, in the order of the layout. */
  private sendStroke(): void {
    const { truck } = this;
    if (this.nextStroke >= truck.t) return;
    STROKE_PGNS.forEach((pgn, group) => {
      const data = this.queue.put(this.nextStroke, makeId({ priority: 6, pgn, source: BRAKES }));
      data.fill(0xff);
      for (let i = 0; i < 8; i += 1) {
        const end = 8 * group + i;
        if (end >= truck.brakes.length || !truck.wheels.present[end]) continue;
        data[i] = Math.min(250, Math.round(truck.strokeMm(end) / STROKE_MM_PER_BIT));
      }
    });
    this.nextStroke += STROKE_MS;
  }

  private sendErrors(from: number): void {
    const { busErrors } = this.truck.faults;
    if (busErrors === null) {
      this.nextError = Number.NaN;
      return;
    }
    if (Number.isNaN(this.nextError)) {
      this.nextError = from;
      if (busErrors.busOff) this.put(from, (ERROR_FLAG | CLASS_BUS_OFF) >>> 0, [0, 0, 0, 0, 0, 0, 0, 0]);
    }
    if (busErrors.perSecond <= 0) return;
    for (; this.nextError < this.truck.t; this.nextError += Math.max(1, Math.round(1000 / busErrors.perSecond)))
      this.put(Math.round(this.nextError), (ERROR_FLAG | CLASS_PROTOCOL) >>> 0, [0, 0, 4, 0, 0, 0, 0, 0]);
  }
}
