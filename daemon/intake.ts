import type { TruckConfig } from '../config/resolved.js';
import { noteClaim } from './j1939/claims.js';
import { reader, readerFor, type SignalReader } from './j1939/decode.js';
import { sourceOf } from './j1939/identifier.js';
import { BASE_PGNS, PGN_ADDRESS_CLAIM, PGN_DM1, PGN_TP_CM, PGN_TP_DT, spanOf } from './j1939/interest.js';
import { groupOf, signalOf } from './j1939/signals.js';
import { Transport } from './j1939/transport.js';
import type { PipelineState } from './pipeline-state.js';
import type { StreamMs } from './time.js';
import type { Context } from './truck/context.js';
import { isFresh, type Sample, take } from './truck/samples.js';

type Whole = (t: StreamMs, bus: number, sa: number, data: Uint8Array, length: number) => void;

/** Where groups go that a monitor takes as a whole, and what else is told of frames. */
export interface GroupSinks {
  tire1: Whole;
  tire2: Whole;
  stroke: Whole;
  lining: Whole;
  brakeHeat: Whole;
  dm1: Whole;
  /** A value of an extra signal of the truck file, by its number there. */
  extra(t: StreamMs, signal: number, bus: number, sa: number, value: number): void;
  /** Pedal, switch or application pressure changed. */
  braking(t: StreamMs): void;
  /** Service pressures changed. */
  air(t: StreamMs): void;
  speed(t: StreamMs, kmh: number): void;
}

/** One signal that is kept as a sample of the context, and what it can be where the truck is. */
interface Row {
  reader: SignalReader;
  sample: Sample;
  least: number;
  most: number;
}

/** Where each context signal goes, by SPN; values outside least…most are senders that have none to tell (raw 0 and such). */
function sampleTable(s: PipelineState): [spn: number, sample: Sample, least?: number, most?: number][] {
  const { context: c, air: a, pressures: p } = s;
  return [
    [190, c.engineSpeed],
    [84, c.wheelSpeed],
    [70, c.parkingSwitch],
    [597, c.brakeSwitch],
    [521, c.pedal],
    [1624, c.tachographSpeed],
    [171, c.ambient, -60, 70],
    [108, c.barometer, 45, 115],
    [584, c.latitude],
    [585, c.longitude],
    [917, c.odometer],
    [46, a.supply],
    [1086, a.parking],
    [1087, a.primaryCoarse],
    [1088, a.secondaryCoarse],
    [1090, a.suspension],
    [1351, c.compressor],
    [116, p.application],
    [117, a.primaryFine],
    [118, a.secondaryFine],
    [619, c.parkingActuator],
    [8484, p.demanded],
  ];
}

const PGN = {
  EEC1: 61444,
  CCVS1: 65265,
  EBC1: 61441,
  EBC3: 65197,
  EBC4: 65196,
  EBC5: 64964,
  HRW: 65134,
  TCO1: 65132,
  VDHR: 65217,
  AIR1: 65198,
  B1: 65274,
  B2: 61712,
  BSA: 64881,
  TIRE1: 65268,
  TIRE2: 64578,
} as const;

/** What to do with a group beyond keeping its samples: a sink takes it as a whole, or it is dealt with here. */
type Act =
  | 'tire1'
  | 'tire2'
  | 'stroke'
  | 'lining'
  | 'brakeHeat'
  | 'dm1'
  | 'transport'
  | 'claim'
  | 'chambers'
  | 'wheels';

const ACTS: Record<number, Act> = {
  [PGN.TIRE1]: 'tire1',
  [PGN.TIRE2]: 'tire2',
  [PGN.BSA]: 'stroke',
  [PGN.EBC4]: 'lining',
  [PGN.EBC5]: 'brakeHeat',
  [PGN_DM1]: 'dm1',
  [PGN_TP_CM]: 'transport',
  [PGN_TP_DT]: 'transport',
  [PGN_ADDRESS_CLAIM]: 'claim',
  [PGN.EBC3]: 'chambers',
  [PGN.HRW]: 'wheels',
};

const BRAKING_GROUPS: readonly number[] = [PGN.CCVS1, PGN.EBC1, PGN.B1, PGN.B2, PGN.EBC3];
const AIR_GROUPS: readonly number[] = [PGN.AIR1, PGN.B1];

/** All that is done with one group. */
interface Plan {
  act: Act | null;
  rows: Row[];
  extras: {
    signal: number;
    bus: number;
    source: number;
    reader: SignalReader<{ startBit: number; bits: number; scale: number; offset: number }>;
  }[];
  braking: boolean;
  air: boolean;
  pgn: number;
}

const KMH_PER_M_PER_MS = 3_600;
/** An odometer step between these times apart gives a speed. ms */
const ODOMETER_LEAST_MS = 500;
const ODOMETER_MOST_MS = 5_000;
/** What SPN 84 can say at most; an odometer that jumps is no speed. */
const MOST_KMH = 251;

/** Sorts frames of interest: samples of the context are kept here, the rest goes to its monitor. */
export class Intake {
  /** 0: not of interest. Else 1 + number of the plan, at `(id >>> 8) & 0x3ffff`. */
  readonly interest: Uint8Array;
  readonly #plans: Plan[] = [];
  readonly #state: PipelineState;
  readonly #context: Context;
  readonly #sinks: GroupSinks;
  readonly #transports: Transport[];
  readonly #wheelSpeeds = [1592, 1593, 1594, 1595].map(reader);
  readonly #chambers = [1091, 1092, 1093, 1094, 1095, 1096, 1097, 1098].map(reader);

  constructor(config: TruckConfig, state: PipelineState, context: Context, sinks: GroupSinks) {
    this.#state = state;
    this.#context = context;
    this.#sinks = sinks;
    const pgns = [...new Set([...BASE_PGNS, ...config.signals.map((signal) => signal.pgn)])];
    this.interest = new Uint8Array(2 ** 18);
    for (const pgn of pgns) this.#addPlan(pgn, config);
    this.#transports = config.buses.map(
      (_, bus) =>
        new Transport(
          (pgn) => pgns.includes(pgn),
          (t, pgn, sa, _da, data, length) => this.#message(t, bus, pgn, sa, data, length),
          state.transports[String(bus)]!,
        ),
    );
  }

  /** A frame of interest. */
  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    const plan = this.#plans[this.interest[(id >>> 8) & 0x3ffff]! - 1];
    if (plan === undefined) return;
    const sa = id & 0xff;
    if (plan.act !== null) this.#act(plan.act, t, bus, id, data, length);
    const source = (bus << 8) | sa;
    for (let i = 0; i < plan.rows.length; i++) {
      const row = plan.rows[i]!;
      const value = row.reader.read(data, length);
      if (value >= row.least && value <= row.most) this.#keep(row.sample, t, source, value);
      else if (!Number.isNaN(value)) this.#state.counters.implausible++;
    }
    if (plan.extras.length > 0) this.#extras(plan, t, bus, sa, data, length);
    if (plan.braking) this.#sinks.braking(t);
    if (plan.air) this.#sinks.air(t);
  }

  /** Once a second: transfers that were given up. */
  tick(t: StreamMs): void {
    for (const transport of this.#transports) if (transport.state.sessions.length > 0) transport.expire(t);
  }

  #addPlan(pgn: number, config: TruckConfig): void {
    const group = groupOf(pgn);
    const spns = new Set(group?.signals.map((signal) => signal.spn));
    this.#plans.push({
      pgn,
      act: ACTS[pgn] ?? null,
      rows: sampleTable(this.#state)
        .filter(([spn]) => spns.has(spn) && signalOf(spn) !== undefined)
        .map(([spn, sample, least = Number.NEGATIVE_INFINITY, most = Number.POSITIVE_INFINITY]) => ({
          reader: reader(spn),
          sample,
          least,
          most,
        })),
      extras: config.signals.flatMap(({ pgn: of, bus, source, byte, bit, length: bits, scale, offset }, i) =>
        of !== pgn
          ? []
          : [
              {
                signal: i,
                bus: bus === null ? -1 : config.buses.findIndex((b) => b.name === bus),
                source: source ?? -1,
                reader: readerFor({ startBit: (byte - 1) * 8 + (bit - 1), bits, scale, offset }),
              },
            ],
      ),
      braking: BRAKING_GROUPS.includes(pgn),
      air: AIR_GROUPS.includes(pgn),
    });
    // The same span as in interestTable; the plan's number takes the place of its 1.
    const { first, count } = spanOf(pgn);
    this.interest.fill(this.#plans.length, first, first + count);
  }

  #keep(sample: Sample, t: StreamMs, source: number, value: number): void {
    const { context } = this.#state;
    if (sample === context.engineSpeed) {
      const before = sample.value;
      const wasFresh = isFresh(sample, t);
      if (take(sample, t, source, value)) this.#context.noteEngineSpeed(t, before, wasFresh);
    } else if (sample === context.odometer) {
      this.#odometer(t, source, value);
    } else if (take(sample, t, source, value)) {
      if (sample === context.wheelSpeed) this.#sinks.speed(t, value);
      else if (sample === context.tachographSpeed) this.#speedOf(t, sample);
    }
  }

  /** SPN 917 stands in for a speed where no speed is sent. */
  #odometer(t: StreamMs, source: number, metres: number): void {
    const { odometer, odometerSpeed } = this.#state.context;
    const since = t - odometer.at;
    const { value: before, source: teller } = odometer;
    if (since < ODOMETER_LEAST_MS && since > 0) return;
    if (!take(odometer, t, source, metres)) return;
    if (teller !== source || since > ODOMETER_MOST_MS || metres < before || since <= 0) return;
    const kmh = ((metres - before) / since) * KMH_PER_M_PER_MS;
    if (kmh <= MOST_KMH && take(odometerSpeed, t, source, kmh)) this.#speedOf(t, odometerSpeed);
  }

  #act(act: Act, t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    const sa = sourceOf(id);
    if (act === 'transport') this.#transports[bus]!.frame(t, id, data, length);
    else if (act === 'claim') noteClaim(this.#state.claims[String(bus)]!, t, sa, data, length);
    else if (act === 'chambers') this.#chamberPressure(t, (bus << 8) | sa, data, length);
    else if (act === 'wheels') this.#wheelEndSpeed(t, (bus << 8) | sa, data, length);
    else this.#sinks[act](t, bus, sa, data, length);
  }

  /** A message put together from several frames. */
  #message(t: StreamMs, bus: number, pgn: number, sa: number, data: Uint8Array, length: number): void {
    if (pgn === PGN_DM1) this.#sinks.dm1(t, bus, sa, data, length);
  }

  #extras(plan: Plan, t: StreamMs, bus: number, sa: number, data: Uint8Array, length: number): void {
    for (const extra of plan.extras) {
      if ((extra.bus >= 0 && extra.bus !== bus) || (extra.source >= 0 && extra.source !== sa)) continue;
      const value = extra.reader.read(data, length);
      if (!Number.isNaN(value)) this.#sinks.extra(t, extra.signal, bus, sa, value);
    }
  }

  #chamberPressure(t: StreamMs, source: number, data: Uint8Array, length: number): void {
    let highest = Number.NaN;
    for (const chamber of this.#chambers) {
      const kpa = chamber.read(data, length);
      if (!Number.isNaN(kpa) && !(kpa <= highest)) highest = kpa;
    }
    if (!Number.isNaN(highest)) take(this.#state.pressures.chamber, t, source, highest);
  }

  #wheelEndSpeed(t: StreamMs, source: number, data: Uint8Array, length: number): void {
    let sum = 0;
    let n = 0;
    for (const wheel of this.#wheelSpeeds) {
      const kmh = wheel.read(data, length);
      if (Number.isNaN(kmh)) continue;
      sum += kmh;
      n++;
    }
    const { wheelEndSpeed } = this.#state.context;
    if (n > 0 && take(wheelEndSpeed, t, source, sum / n)) this.#speedOf(t, wheelEndSpeed);
  }

  /** A stand-in for SPN 84 tells the speed only while that is not heard. */
  #speedOf(t: StreamMs, sample: Sample): void {
    if (!isFresh(this.#state.context.wheelSpeed, t)) this.#sinks.speed(t, sample.value);
  }
}
