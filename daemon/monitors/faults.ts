import type { Judgement, Level } from '../alerts/judgement.js';
import { decodeDm1, type FaultArea, faultArea, faultText, fmiText, type TroubleCode } from '../j1939/dm1.js';
import type { StreamMs } from '../time.js';
import type { Context } from '../truck/context.js';
import { placeOf } from '../truck/subjects.js';
import type { TickFacts, Workbench } from './monitor.js';

/** Codes watched at once; a flood of invented codes must not fill the memory. */
export const MAX_CODES = 64;
/** Senders whose stop lamp is remembered. */
export const MAX_LAMP_SOURCES = 64;
/** DM1 comes once a second while a code is active. */
const AGE_MS = 5_000;
/** A code that was not told for this long, by a unit that speaks or not, and has no alert, is forgotten. */
const FORGET_MS = 60_000;

export interface FaultsState {
  /** Red stop lamp by "bus/sa". */
  lamps: Record<string, { on: boolean; explained: boolean; lampAt: StreamMs }>;
  /** Codes that found no room, and senders whose lamp found none. */
  droppedCodes: number;
  droppedLamps: number;
}

export const newFaults = (): FaultsState => ({ lamps: {}, droppedCodes: 0, droppedLamps: 0 });

/** Area of a fault-code subject (fault/<bus>/<sa>/<spn>/<fmi>); null for others. */
export function areaOfSubject(subject: string): FaultArea | null {
  const [kind, , , spn] = subject.split('/');
  return kind === 'fault' ? faultArea(Number(spn)) : null;
}

/** Rules fault-code and stop-lamp: what the units of the truck say of themselves in DM1. */
export class Faults {
  readonly state: FaultsState;
  readonly #codes: Judgement | undefined;
  readonly #lamp: Judgement | undefined;
  readonly #context: Context;
  readonly #buses: string[];

  constructor(bench: Workbench, buses: string[], state: FaultsState, codeSubjects: string[]) {
    this.state = state;
    this.#context = bench.context;
    this.#buses = buses;
    this.#codes = bench.judgement('fault-code');
    this.#lamp = bench.judgement('stop-lamp');
    for (const bus of buses) this.#lamp?.add(`lamp/${bus}`, placeOf(`lamp/${bus}`));
    for (const subject of codeSubjects) this.#add(subject);
    for (const j of [this.#codes, this.#lamp]) if (j) j.fresh = (s, t) => t - j.judgedAt(s) <= AGE_MS;
    if (this.#codes) this.#codes.describe = (s) => ({ measured: describeCode(s.name) });
    if (this.#lamp) this.#lamp.describe = () => ({ measured: { code: 1, text: 'red stop lamp on' } });
  }

  /** One whole DM1. */
  dm1(t: StreamMs, bus: number, sa: number, data: Uint8Array, length: number): void {
    const { lamps, codes } = decodeDm1(data, length);
    const stop = lamps.redStop === 'on';
    const name = this.#buses[bus]!;
    // Codes in one of the old layouts may name another SPN: shown nowhere, judged nowhere.
    const ours = codes.filter((code) => code.cm === 0 && faultArea(code.spn) !== null);
    if (this.#codes !== undefined) this.#judgeCodes(t, name, sa, ours, stop);
    if (lamps.redStop !== 'absent' && lamps.redStop !== 'reserved') this.#judgeLamp(t, bus, sa, stop, ours);
  }

  /** Forgets codes that nobody tells any more. hasAlert: is there an alert, open or lately ended? */
  tick(facts: TickFacts, hasAlert: (subject: string) => boolean): void {
    const j = this.#codes;
    if (j === undefined || facts.t % FORGET_MS !== 0) return;
    for (const s of [...j.subjects]) {
      const unheard = facts.t - j.judgedAt(s) > FORGET_MS;
      const idle = s.evidence.every((e) => !e.up && (unheard || e.clearMs >= FORGET_MS));
      if (idle && !hasAlert(s.name)) j.remove(s.name);
    }
  }

  #add(subject: string): number {
    return this.#codes!.add(subject, placeOf(subject));
  }

  #judgeCodes(t: StreamMs, bus: string, sa: number, codes: readonly TroubleCode[], stop: boolean): void {
    const j = this.#codes!;
    const prefix = `fault/${bus}/${sa}/`;
    const told = new Map(codes.map((code) => [`${prefix}${code.spn}/${code.fmi}`, code]));
    for (const subject of told.keys()) {
      if (j.find(subject) >= 0) continue;
      if (j.subjects.length >= MAX_CODES) this.state.droppedCodes++;
      else this.#add(subject);
    }
    for (const [i, s] of j.subjects.entries()) {
      if (!s.name.startsWith(prefix)) continue;
      const code = told.get(s.name);
      const level = code === undefined ? 0 : levelOfCode(code, stop);
      for (const [k, limit] of j.limits.entries()) j.state(i, k, t, AGE_MS, level >= limit.level, level < limit.level);
    }
  }

  #judgeLamp(t: StreamMs, bus: number, sa: number, on: boolean, codes: readonly TroubleCode[]): void {
    const j = this.#lamp;
    if (j === undefined) return;
    const name = this.#buses[bus]!;
    const key = `${name}/${sa}`;
    const lamps = this.state.lamps;
    if (lamps[key] === undefined && Object.keys(lamps).length >= MAX_LAMP_SOURCES) {
      this.state.droppedLamps++;
      return;
    }
    const explained = codes.some((code) => this.#isOpen(`fault/${name}/${sa}/${code.spn}/${code.fmi}`));
    lamps[key] = { on, explained, lampAt: t };
    const running = this.#context.engineRunning(t) === true;
    const longEnough = t - this.#context.state.engineStartedAt >= j.constant('engineS') * 1000;
    if (!running || !longEnough) {
      j.stop(bus, t);
      return;
    }
    const burning = Object.entries(lamps).filter(([k, lamp]) => k.startsWith(`${name}/`) && lamp.on && !lamp.explained);
    const any = burning.some(([, lamp]) => t - lamp.lampAt <= AGE_MS);
    // A unit that fell silent with its lamp on does not say that it is off; the next start of the engine does away with it.
    const isOff = burning.every(([, lamp]) => lamp.lampAt < this.#context.state.engineStartedAt);
    j.state(bus, 0, t, AGE_MS, any, isOff);
  }

  #isOpen(subject: string): boolean {
    const j = this.#codes;
    const s = j?.subjects[j.find(subject)];
    return s !== undefined && j!.level(s) > 0;
  }
}

function levelOfCode(code: TroubleCode, stop: boolean): Level {
  if (stop) return 3;
  return code.fmi === 0 || code.fmi === 1 ? 2 : 1;
}

function describeCode(subject: string) {
  const [, , , spn, fmi] = subject.split('/');
  const what = faultText(Number(spn)) ?? 'unknown signal';
  return { code: Number(fmi), text: `SPN ${spn} ${what}: ${fmiText(Number(fmi))}`.slice(0, 120) };
}
