import { readFileSync } from 'node:fs';
import { readTruckFile } from '../../../config/load.js';
import type { TruckConfig } from '../../../config/resolved.js';
import type { EventDraft, OpenDraft } from '../../../daemon/alerts/event.js';
import type { TripRecord } from '../../../daemon/effects.js';
import { makeId } from '../../../daemon/j1939/identifier.js';
import { Pipeline } from '../../../daemon/pipeline.js';
import { Stepper } from '../../../daemon/stepper.js';
import type { RecordKind, RecordOf, TruckRecord } from '../../../daemon/truck/records.js';
import { encodeGroup } from '../../../simulator/encode.js';

/**
 * The truck of config/examples/T-1042.yaml with the default limits, driven by hand: what `world` says goes on the wire
 * as real frames (tires every 10 s, air, brakes and stroke states every second, the rest ten times a second or once),
 * through a real pipeline. `null` is never sent.
 */

export const PSI = 6.894757;
/** Location bytes of T-1042 (SPN 929: axle in the high nibble, then from left to right). */
export const LOCATIONS: Record<string, number> = {
  'tractor/1/left/single': 0x00,
  'tractor/1/right/single': 0x01,
  ...Object.fromEntries(
    ['tractor/2', 'tractor/3', 'trailer/1', 'trailer/2'].flatMap((axle, i) =>
      ['left/outer', 'left/inner', 'right/inner', 'right/outer'].map((wheel, k) => [
        `${axle}/${wheel}`,
        (i + 1) * 16 + k,
      ]),
    ),
  ),
};
export const SUBJECTS = Object.keys(LOCATIONS);
export const STEER_KPA = 120 * PSI;
export const TARGET_KPA = 100 * PSI;
export const targetOf = (subject: string): number => (subject.includes('single') ? STEER_KPA : TARGET_KPA);

const EXAMPLE = readFileSync(new URL('../../../config/examples/T-1042.yaml', import.meta.url), 'utf8');

/** The example truck without its own limits; `more` is YAML to add, `change` alters the text. */
export function truck(more = '', change: (yaml: string) => string = (yaml) => yaml): TruckConfig {
  const plain = EXAMPLE.replace(/^rules:\n(?: .*\n)+/m, '');
  const { config, problems } = readTruckFile(`${change(plain)}\n${more}\n`, 'T-1042.yaml');
  if (config === undefined) throw new Error(JSON.stringify(problems));
  return config;
}

export interface Wheel {
  kpa: number;
  celsius: number | null;
  /** Does the sensor speak? */
  speaks: boolean;
  /** Every so many seconds. */
  everyS: number;
  /** Further SPNs of its TIRE1 frame. */
  also: Record<number, number>;
  /** Also sent in TIRE2, in 1 kPa steps; TIRE1 then says so (SPN 6990). */
  fine: boolean;
}

export interface World {
  rpm: number | null;
  kmh: number | null;
  /** SPN 70. */
  parked: number | null;
  ambient: number | null;
  barometer: number | null;
  /** SPN 521 in %, SPN 597, SPN 116 in kPa. */
  pedal: number | null;
  brakeSwitch: number | null;
  brakeKpa: number | null;
  /** Service circuits of B1 (117/118) and of AIR1 (1087/1088). */
  primary: number | null;
  secondary: number | null;
  coarsePrimary: number | null;
  coarseSecondary: number | null;
  /** Supply pressure (46), parking circuit (1086), suspension pressure (1090), and whether the compressor says that it pumps (1351). */
  supply: number | null;
  parking: number | null;
  suspension: number | null;
  pumping: number | null;
  /** By SPN 3785…3804. */
  strokes: Record<number, number> | null;
}

const SOURCE = { engine: 0, brakes: 11, air: 48, tires: 51 } as const;

export class Drive {
  t = 0;
  pipeline: Pipeline;
  stepper: Stepper;
  events: EventDraft[] = [];
  /** The last list of what is open, and the last trip. */
  open: OpenDraft | null = null;
  trip: TripRecord | null = null;
  records: TruckRecord[] = [];
  /** Speed, pedal and switch ten times a second. */
  isFine = false;
  world: World = {
    rpm: 1200,
    kmh: 80,
    parked: 0,
    ambient: 18,
    barometer: 101.5,
    pedal: 0,
    brakeSwitch: 0,
    brakeKpa: 0,
    primary: 800,
    secondary: 800,
    coarsePrimary: null,
    coarseSecondary: null,
    supply: null,
    parking: null,
    suspension: null,
    pumping: null,
    strokes: null,
  };
  readonly wheels: Record<string, Wheel> = {};
  config: TruckConfig;

  constructor(config: TruckConfig = truck(), zeroCalendarMs: number | null = null) {
    this.config = config;
    this.pipeline = new Pipeline(config, null, zeroCalendarMs);
    this.stepper = this.#newStepper();
    for (const subject of SUBJECTS) {
      this.wheels[subject] = {
        kpa: targetOf(subject),
        celsius: 18,
        speaks: true,
        everyS: 10,
        also: {},
        fine: false,
      };
    }
  }

  #newStepper(): Stepper {
    return new Stepper(this.pipeline, ({ events, open, trip, records }) => {
      this.events.push(...events);
      this.records.push(...records);
      this.open = open ?? this.open;
      this.trip = trip ?? this.trip;
    });
  }

  wheel(subject: string): Wheel {
    return this.wheels[subject]!;
  }

  /** The program stops and starts again; stream time begins anew. downMs null: no clock can tell how long. */
  restart(downMs: number | null, zeroCalendarMs: number | null = null): void {
    const state = this.pipeline.snapshot(this.t);
    this.pipeline = new Pipeline(this.config, { kind: 'restart', state, downMs }, zeroCalendarMs);
    this.t = 0;
    this.stepper = this.#newStepper();
  }

  /** People call these sensors bad, and no others, until the end of time. */
  mark(...subjects: string[]): this {
    const marks = subjects.map((subject) => ({ subject, what: 'sensor-bad' as const, who: 'workshop', untilMs: 4e12 }));
    this.config = { ...this.config, marks };
    this.stepper.reload(this.t, this.config);
    this.pipeline = this.stepper.pipeline;
    return this;
  }

  send(pgn: number, source: number, data: Uint8Array | Record<number, number>, t: number = this.t): void {
    const bytes = data instanceof Uint8Array ? data : encodeGroup(pgn, data);
    this.stepper.frame(t, 0, makeId({ priority: 6, pgn, source }), bytes, bytes.length);
  }

  /** One TIRE1 frame of a wheel as it is now. */
  tire(subject: string, also: Record<number, number> = {}, source: number = SOURCE.tires): void {
    const w = this.wheel(subject);
    const values: Record<number, number> = { 929: LOCATIONS[subject]!, 241: w.kpa, ...w.also, ...also };
    if (w.celsius !== null) values[242] ??= w.celsius;
    if (w.fine) values[6990] = 1;
    this.send(65268, source, values);
    if (w.fine) this.send(64578, source, { 6987: LOCATIONS[subject]!, 6988: w.kpa });
  }

  /** Drives on for so many seconds; `each` is called at the start of every second (or tenth, when fine). */
  run(seconds: number, each: (secondsIn: number) => void = () => {}): this {
    const step = this.isFine ? 100 : 1000;
    const end = this.t + seconds * 1000;
    const from = this.t;
    while (this.t < end) {
      each((this.t - from) / 1000);
      this.#context();
      if (this.t % 1000 === 0) this.#everySecond();
      this.t += step;
    }
    return this;
  }

  /** Nothing on the bus. */
  rest(seconds: number): this {
    this.t += seconds * 1000;
    this.stepper.advance(this.t);
    return this;
  }

  #context(): void {
    const { rpm, kmh, parked, pedal, brakeSwitch } = this.world;
    if (rpm !== null) this.send(61444, SOURCE.engine, { 190: rpm });
    const ccvs = known({ 84: kmh, 70: parked, 597: brakeSwitch });
    if (Object.keys(ccvs).length > 0) this.send(65265, SOURCE.engine, ccvs);
    if (pedal !== null) this.send(61441, SOURCE.brakes, { 521: pedal });
  }

  #everySecond(): void {
    const w = this.world;
    const ambient = known({ 171: w.ambient, 108: w.barometer });
    if (Object.keys(ambient).length > 0) this.send(65269, SOURCE.engine, ambient);
    const b1 = known({ 116: w.brakeKpa, 117: w.primary, 118: w.secondary });
    if (Object.keys(b1).length > 0) this.send(65274, SOURCE.brakes, b1);
    const air1 = known({
      46: w.supply,
      1086: w.parking,
      1087: w.coarsePrimary,
      1088: w.coarseSecondary,
      1090: w.suspension,
      1351: w.pumping,
    });
    if (Object.keys(air1).length > 0) this.send(65198, SOURCE.air, air1);
    if (w.strokes !== null) this.send(64881, SOURCE.brakes, { ...NOT_FITTED, ...w.strokes });
    const second = this.t / 1000;
    SUBJECTS.forEach((subject, i) => {
      const wheel = this.wheel(subject);
      if (wheel.speaks && second % wheel.everyS === i % wheel.everyS) this.tire(subject);
    });
  }

  /** `change urgency subject` of the events of one rule, in order. */
  of(rule: string, subject?: string): string[] {
    return this.list(rule, subject).map((e) => `${e.change} ${e.urgency}`);
  }

  /** Records of one kind, in order. */
  recordsOf<K extends RecordKind>(kind: K): RecordOf<K>[] {
    return this.records.filter((r) => r.kind === kind) as unknown as RecordOf<K>[];
  }

  list(rule: string, subject?: string): EventDraft[] {
    return this.events.filter((e) => e.rule === rule && (subject === undefined || e.subject === subject));
  }

  /** `rule change urgency subject` of all events. */
  get story(): string[] {
    return this.events.map((e) => `${e.rule} ${e.change} ${e.urgency} ${e.subject}`);
  }
}

const NOT_FITTED = Object.fromEntries(Array.from({ length: 20 }, (_, i) => [3785 + i, 7]));

function known(values: Record<number, number | null>): Record<number, number> {
  const out: Record<number, number> = {};
  for (const [spn, value] of Object.entries(values)) if (value !== null) out[Number(spn)] = value;
  return out;
}

/** Pressure in a closed tire by the gas law, gauge kPa (regulations sheet 4.5). */
export function gauge(coldKpa: number, celsius: number, airKpa = 101.325): number {
  return ((coldKpa + 101.325) * (celsius + 273.15)) / 291.15 - airKpa;
}

/** xorshift32: the same noise on every machine. */
export function randomFrom(seed: number): () => number {
  let s = seed >>> 0 || 1;
  return () => {
    s ^= s << 13;
    s ^= s >>> 17;
    s ^= s << 5;
    s >>>= 0;
    return s / 2 ** 32;
  };
}
