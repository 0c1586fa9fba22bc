import type { TruckConfig } from '../../config/resolved.js';
import type { FaultCodes, QuantityName, Value } from '../../config/rule-test-quantities.js';
import { type Series, valueAt } from '../../config/rule-test-series.js';
import type { RuleTest } from '../../config/rule-tests.js';
import { dm1Payload, putBits, rawOf } from '../../simulator/encode.js';
import type { FrameSink } from '../input.js';
import { makeId } from '../j1939/identifier.js';
import { groupOf, type Signal } from '../j1939/signals.js';
import { buildLayout, type Layout } from '../truck/layout.js';
import { groupsOf, SOURCE, type TestGroup } from './rule-tests-groups.js';

const STEP_MS = 100;
const DM1_MS = 1000;
const TIRE1 = 65268;
const TIRE2 = 64578;
const DM1 = 65226;
/** SPN 6990: the pressure is in TIRE2 as well. */
const IN_TIRE2 = 1;
const FRAME_BYTES = 8;

/** Tells a test on the bus, as real frames. */
export class TestBus {
  readonly #test: RuleTest;
  readonly #config: TruckConfig;
  readonly #layout: Layout;
  readonly #sink: FrameSink;
  readonly #groups: readonly TestGroup[];
  readonly #told: ReadonlyMap<string, Series>;
  readonly #below: ReadonlyMap<string, Series>;
  readonly #data = new Uint8Array(FRAME_BYTES);

  constructor(test: RuleTest, config: TruckConfig, sink: FrameSink) {
    this.#test = test;
    this.#config = config;
    this.#layout = buildLayout(config);
    this.#sink = sink;
    this.#groups = groupsOf(this.#layout.wheelEnds);
    this.#told = bySubject(test.series);
    this.#below = bySubject(test.below);
  }

  /** All frames from 0 up to the end of the test. */
  play(): void {
    const tires = this.#layout.tires.map((_, i) => this.#driving(i));
    const extras = this.#extraGroups();
    const codes = this.#test.series.filter(({ quantity }) => quantity === 'faultCodes');
    for (let t = 0; t < this.#test.lengthMs; t += STEP_MS) {
      if (this.#value('truck', 'traffic', t) !== 1) continue;
      for (const group of this.#groups) if (t % group.everyMs === 0) this.#group(group, t);
      for (const [i, told] of tires.entries()) if (isDue(told, t)) this.#tire(i, told, t);
      if (t % DM1_MS !== 0) continue;
      for (const signals of extras) this.#extra(signals, t);
      for (const series of codes) this.#codes(series, t);
    }
  }

  #value(subject: string, quantity: QuantityName, t: number): Value {
    const key = `${subject} ${quantity}`;
    const told = this.#told.get(key);
    const value = told === undefined ? null : valueAt(told, t);
    if (value !== null) return value;
    const below = this.#below.get(key);
    return below === undefined ? 'none' : valueAt(below, t)!;
  }

  #send(t: number, bus: number, pgn: number, source: number): void {
    this.#sink.frame(t, bus, makeId({ priority: 6, pgn, source }), this.#data, FRAME_BYTES);
  }

  #group({ pgn, source, values }: TestGroup, t: number): void {
    const { signals } = groupOf(pgn)!;
    this.#data.fill(0xff);
    let isTold = false;
    for (const { spn, subject, quantity, factor } of values) {
      const value = this.#value(subject, quantity, t);
      if (value === 'none') continue;
      isTold = true;
      this.#put(signals.find((signal) => signal.spn === spn)!, value, factor);
    }
    if (isTold) this.#send(t, 0, pgn, source);
  }

  #put(signal: Signal, value: Value, factor = 1): void {
    // As J1939-71 has it: the second highest code, of whole bytes in the highest byte.
    const error = signal.bits >= 8 ? 0xfe * 2 ** (signal.bits - 8) : 2 ** signal.bits - 2;
    if (value === 'error') putBits(this.#data, signal.startBit, signal.bits, error);
    else if (typeof value === 'number')
      putBits(this.#data, signal.startBit, signal.bits, rawOf(signal, value * factor));
  }

  /** What says when a tire's sensor speaks: its pressure, else its temperature. */
  #driving(tire: number): Series {
    const { subject } = this.#layout.tires[tire]!;
    const pressure = `${subject} pressure`;
    return this.#told.get(pressure) ?? this.#told.get(`${subject} temperature`) ?? this.#below.get(pressure)!;
  }

  #tire(tire: number, told: Series, t: number): void {
    const { subject } = this.#layout.tires[tire]!;
    const location = this.#locationOf(tire);
    if (location < 0 || this.#value(subject, told.quantity, t) === 'none') return;
    const pressure = this.#value(subject, 'pressure', t);
    const put = (pgn: number, values: [spn: number, value: Value][]): void => {
      this.#data.fill(0xff);
      for (const [spn, value] of values) this.#put(groupOf(pgn)!.signals.find((signal) => signal.spn === spn)!, value);
      this.#send(t, 0, pgn, SOURCE.tires);
    };
    const { fine } = this.#test;
    put(TIRE1, [
      [929, location],
      [241, pressure],
      [242, this.#value(subject, 'temperature', t)],
      [6990, fine ? IN_TIRE2 : 0],
    ]);
    if (fine)
      put(TIRE2, [
        [6987, location],
        [6988, pressure],
      ]);
  }

  /** The location byte by which this sender calls the tire; −1: by none. */
  #locationOf(tire: number): number {
    for (let location = 0; location < 0xff; location++)
      if (this.#layout.tireIndexAt(0, SOURCE.tires, location) === tire) return location;
    return -1;
  }

  /** Signals of the truck file that a series tells of, group by group. */
  #extraGroups(): TruckConfig['signals'][] {
    const groups = new Map<string, TruckConfig['signals']>();
    for (const signal of this.#config.signals) {
      if (!this.#told.has(`${signal.subject} ${signal.quantity}`)) continue;
      if (signal.quantity !== 'stroke' && this.#layout.tires.some(({ subject }) => subject === signal.subject))
        continue;
      if ((signal.byte - 1) * 8 + signal.bit - 1 + signal.length > 8 * FRAME_BYTES) continue;
      const key = `${signal.bus} ${signal.pgn} ${signal.source}`;
      groups.set(key, [...(groups.get(key) ?? []), signal]);
    }
    return [...groups.values()];
  }

  #extra(signals: TruckConfig['signals'], t: number): void {
    const { bus, pgn, source } = signals[0]!;
    this.#data.fill(0xff);
    let isTold = false;
    for (const { byte, bit, length, scale, offset, subject, quantity } of signals) {
      const value = this.#value(subject, quantity as QuantityName, t);
      if (typeof value !== 'number') continue;
      isTold = true;
      putBits(this.#data, (byte - 1) * 8 + bit - 1, length, Math.max(0, Math.round((value - offset) / scale)));
    }
    const index = this.#config.buses.findIndex(({ name }) => name === bus);
    if (isTold) this.#send(t, Math.max(0, index), pgn, source ?? SOURCE.brakes);
  }

  #codes({ subject }: Series, t: number): void {
    const value = this.#value(subject, 'faultCodes', t);
    if (typeof value !== 'object') return;
    const { lamp, code } = value satisfies FaultCodes;
    this.#data.set(dm1Payload(lamp, code === null ? [] : [{ ...code, count: 1 }]));
    const [, bus, source] = subject.split('/');
    const index = this.#config.buses.findIndex(({ name }) => name === bus);
    this.#send(t, index, DM1, Number(source));
  }
}

const bySubject = (series: readonly Series[]): Map<string, Series> =>
  new Map(series.map((one) => [`${one.subject} ${one.quantity}`, one]));

/** Before its series begins a sensor speaks as often as in it. */
function isDue({ fromMs, everyMs }: Series, t: number): boolean {
  return (t - fromMs) % everyMs === 0;
}
