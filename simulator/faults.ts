import type { Subjects } from '../daemon/truck/subjects.js';
import { type AirLeak, NO_AIR_LEAK } from './physics/air-supply.js';
import type { Fault, Scenario } from './scenario.js';
import { SIGNAL_SPNS } from './signal-names.js';

type Of<K extends Fault['kind']> = Extract<Fault, { kind: K }>;
export type FaultCode = Of<'fault-codes'>;
export type SensorError = Of<'sensor-error'>['says'];

/** What is broken in one tire or its sensor now. */
export interface TireFault {
  /** kPa/min at the reference temperature. */
  leakKpaPerMin: number;
  burst: boolean;
  refill: { share: number; kpaPerMin: number } | null;
  stuck: boolean;
  driftKpaPerHour: number;
  driftFromS: number;
  says: SensorError | null;
}

/** Likewise of one wheel end. */
export interface WheelFault {
  overstrokeKpa: number | null;
  dragKw: number;
  dragging: boolean;
  notApplying: boolean;
  sensorError: boolean;
  extraMm: number;
  mmPerHour: number;
  growsFromS: number;
  lining: number | null;
}

/** Rapid at first, then what is left: a tire is empty in a few seconds. */
const BURST_KPA_PER_MIN = 9000;

const newTire = (): TireFault => ({
  leakKpaPerMin: 0,
  burst: false,
  refill: null,
  stuck: false,
  driftKpaPerHour: 0,
  driftFromS: 0,
  says: null,
});
const newWheel = (): WheelFault => ({
  overstrokeKpa: null,
  dragKw: 0,
  dragging: false,
  notApplying: false,
  sensorError: false,
  extraMm: 0,
  mmPerHour: 0,
  growsFromS: 0,
  lining: null,
});

function holds(fault: { from: number; to: number }, s: number): boolean {
  return s >= fault.from && s < fault.to;
}

/** What is broken at a moment, in seconds from the start. Looked up anew only when something changes. */
export class Faults {
  tires: TireFault[] = [];
  wheelEnds: WheelFault[] = [];
  airLeak: AirLeak = NO_AIR_LEAK;
  appliedLeak: AirLeak = NO_AIR_LEAK;
  blocked = { primary: false, secondary: false };
  compressorShare = 1;
  governor: { cutInKpa: number; cutOutKpa: number } | null = null;
  brakeHot = false;
  busSilent = false;
  busErrors: Of<'bus-errors'> | null = null;
  silentSources = new Set<number>();
  strange: readonly number[] = [];
  missing = new Set<number>();

  private readonly all: readonly Fault[];
  private readonly subjects: Subjects;
  private readonly silences: (readonly { from: number; to: number }[])[];
  private readonly changes: number[];
  private next = 0;

  constructor(scenario: Scenario, subjects: Subjects) {
    this.all = scenario.faults;
    this.subjects = subjects;
    const times = scenario.faults.flatMap((f) =>
      f.kind === 'tire-leak'
        ? [...f.phases.map(({ from }) => from), f.to, ...(f.refill ? [f.refill.from, f.refill.to] : [])]
        : [f.from, f.to],
    );
    this.changes = [...new Set([0, ...times])].sort((a, b) => a - b);
    this.silences = subjects.tires.map(({ subject }) => scenario.faults.flatMap((f) => silence(f, subject)));
  }

  /** Takes over what holds at s; never called with an earlier time. True when something changed. */
  advance(s: number): boolean {
    if (this.next >= this.changes.length || s < this.changes[this.next]!) return false;
    while (this.next < this.changes.length && this.changes[this.next]! <= s) this.next += 1;
    this.reset();
    for (const f of this.all) this.apply(f, s);
    return true;
  }

  /** When something changes next, seconds; Infinity: never again. */
  get nextChangeS(): number {
    return this.changes[this.next] ?? Number.POSITIVE_INFINITY;
  }

  silent(tire: number, s: number): boolean {
    return this.silences[tire]!.some((f) => holds(f, s));
  }

  codes(source: number, s: number): FaultCode | null {
    for (const f of this.all) if (f.kind === 'fault-codes' && f.source === source && holds(f, s)) return f;
    return null;
  }

  private reset(): void {
    this.tires = this.subjects.tires.map(newTire);
    this.wheelEnds = this.subjects.wheelEnds.map(newWheel);
    this.airLeak = this.appliedLeak = NO_AIR_LEAK;
    this.blocked = { primary: false, secondary: false };
    this.compressorShare = 1;
    this.governor = this.busErrors = null;
    this.brakeHot = this.busSilent = false;
    this.silentSources = new Set();
    this.strange = [];
    this.missing = new Set();
  }

  private apply(f: Fault, s: number): void {
    if (f.kind === 'tire-leak') {
      this.leak(f, s);
      return;
    }
    if (!holds(f, s)) return;
    if ('tire' in f) this.spoilTire(this.tires[this.subjects.tires.findIndex((t) => t.subject === f.tire)]!, f);
    else if ('wheelEnd' in f)
      this.spoilBrake(this.wheelEnds[this.subjects.wheelEnds.findIndex((w) => w.subject === f.wheelEnd)]!, f);
    else this.spoilRest(f);
  }

  private leak(f: Of<'tire-leak'>, s: number): void {
    const tire = this.tires[this.subjects.tires.findIndex((t) => t.subject === f.tire)]!;
    if (s < f.to) tire.leakKpaPerMin += f.phases.filter((phase) => phase.from <= s).at(-1)?.kpaPerMin ?? 0;
    if (f.refill && holds(f.refill, s)) tire.refill = f.refill;
  }

  private spoilTire(tire: TireFault, f: Fault): void {
    if (f.kind === 'tire-burst') {
      tire.burst = true;
      tire.leakKpaPerMin += BURST_KPA_PER_MIN;
    } else if (f.kind === 'sensor-stuck') tire.stuck = true;
    else if (f.kind === 'sensor-error') tire.says = f.says;
    else if (f.kind === 'sensor-drift') {
      tire.driftKpaPerHour = f.kpaPerHour;
      tire.driftFromS = f.from;
    }
  }

  private spoilBrake(end: WheelFault, f: Fault): void {
    if (f.kind === 'brake-overstroke') {
      end.overstrokeKpa = f.aboveKpa;
      end.extraMm += f.extraMm ?? 0;
    } else if (f.kind === 'brake-dragging') {
      end.dragKw = f.heatKw;
      end.dragging = true;
    } else if (f.kind === 'brake-not-applying') end.notApplying = true;
    else if (f.kind === 'brake-uneven') end.extraMm += f.extraMm;
    else if (f.kind === 'brake-sensor') end.sensorError = true;
    else if (f.kind === 'brake-lining') end.lining = f.percent;
    else if (f.kind === 'brake-growing') {
      end.mmPerHour = f.mmPerHour;
      end.growsFromS = f.from;
    }
  }

  private spoilRest(f: Fault): void {
    if (f.kind === 'air-leak') {
      if (f.applied) this.appliedLeak = f;
      else this.airLeak = f;
    } else if (f.kind === 'circuit-blocked') this.blocked[f.circuit] = true;
    else if (f.kind === 'compressor-weak') this.compressorShare = f.share;
    else if (f.kind === 'governor') this.governor = f;
    else if (f.kind === 'brake-hot') this.brakeHot = true;
    else if (f.kind === 'bus-silent') this.busSilent = true;
    else if (f.kind === 'bus-errors') this.busErrors = f;
    else if (f.kind === 'source-silent') this.silentSources.add(f.source);
    else if (f.kind === 'strange-locations') this.strange = f.locations;
    else if (f.kind === 'not-sent')
      for (const name of f.signals) for (const spn of SIGNAL_SPNS[name]) this.missing.add(spn);
  }
}

/** When a tire's sensor says nothing at all. */
function silence(f: Fault, tire: string): { from: number; to: number }[] {
  if (!('tire' in f) || f.tire !== tire) return [];
  if (f.kind === 'sensor-silent') return [f];
  return f.kind === 'tire-burst' && f.sensorDies ? [{ from: f.from + 2, to: f.to }] : [];
}
