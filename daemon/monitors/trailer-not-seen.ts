import type { Judgement } from '../alerts/judgement.js';
import { type StreamMs, TICK_MS } from '../time.js';
import { placeOf } from '../truck/subjects.js';
import type { Tires } from '../truck/tires.js';
import type { WheelEndState } from './brake-state.js';
import type { TickFacts, Workbench } from './monitor.js';

/** Heard within this time: its brakes tell their state once a second, its tires several times as long apart. */
const AGE_MS = 30_000;
const BRAKES_AGE_MS = 10_000;
/** All of its sensors silent for so long together: it is the trailer that is not heard, and no sensor of it. */
const TOGETHER_MS = 60_000;

/** What is known of one towed unit. Plain data. */
export interface TowedState {
  /** Moving time since anything was last heard of it, while it could be heard. ms */
  unseenMovingMs: number;
  /** It was given up: what was learned of it is forgotten. */
  isGone: boolean;
}

/** Towed units that are there as far as anybody can tell, as one text; '': the tractor is alone, or its file has no others. */
export function unitsSeen(towed: Readonly<Record<string, TowedState>>): string {
  const seen = Object.keys(towed).filter((unit) => !towed[unit]!.isGone && towed[unit]!.unseenMovingMs < TOGETHER_MS);
  return seen.sort().join(' ');
}

/** Tires or wheel ends of one towed unit, and those of the rest of the truck, by index. */
interface Members {
  own: number[];
  others: number[];
}

interface Towed {
  unit: string;
  state: TowedState;
  /** Number of its subject. */
  subject: number;
  tires: Members;
  ends: Members;
}

/** A dolly is the front of the trailer that stands on it. */
const vehicleOf = (unit: string, units: readonly string[]): string =>
  unit === 'dolly' && units.includes('trailer-2') ? 'trailer-2' : unit;

/**
 * Rule trailer-not-seen, and the towed units that are given up. A unit is seen when a tire or brake of it says something:
 * a value, a state or a fault; idle patterns of a receiver on the tractor are nothing. It is missed only where it could
 * be heard: while its own sender is all that is silent, or the receiver that tells of it tells of the tractor still. One that was
 * never heard is missed where other tires are.
 */
export class TrailerNotSeen {
  readonly #tires: Tires;
  /** By subject, and the subject of each wheel end. */
  readonly #ends: Record<string, WheelEndState>;
  readonly #endNames: string[];
  readonly #rule: Judgement | undefined;
  readonly #towed: Towed[];
  readonly #goneAfterMs: number;
  #gone: string[] = [];

  /** @param goneAfterMs moving time; holds also where the rule is off */
  constructor(
    bench: Workbench,
    ends: Record<string, WheelEndState>,
    states: Record<string, TowedState>,
    goneAfterMs: number,
  ) {
    const { layout } = bench;
    const rule = bench.judgement('trailer-not-seen');
    this.#tires = bench.tires;
    this.#ends = ends;
    this.#endNames = layout.wheelEnds.map((end) => end.subject);
    this.#rule = rule;
    this.#goneAfterMs = goneAfterMs;
    const units = [...new Set(layout.wheelEnds.map((end) => end.unit))];
    const vehicles = [...new Set(units.map((unit) => vehicleOf(unit, units)))];
    const members = (list: readonly { unit: string }[], unit: string): Members => {
      const isOwn = list.map((x) => vehicleOf(x.unit, units) === unit);
      const of = (own: boolean) => [...isOwn.keys()].filter((i) => isOwn[i] === own);
      return { own: of(true), others: of(false) };
    };
    this.#towed = vehicles
      .filter((unit) => unit !== 'tractor')
      .map((unit) => {
        states[unit] ??= { unseenMovingMs: 0, isGone: false };
        const state = states[unit]!;
        const subject = rule?.add(unit, placeOf(unit)) ?? -1;
        return { unit, state, subject, tires: members(layout.tires, unit), ends: members(layout.wheelEnds, unit) };
      });
    if (rule === undefined) return;
    const byName = (name: string): Towed => this.#towed.find((x) => x.unit === name)!;
    rule.describe = (s) => ({ measured: { silentS: Math.round(byName(s.name).state.unseenMovingMs / 1000) } });
    rule.onReset = (s) => {
      byName(s.name).state.unseenMovingMs = 0;
    };
  }

  tick({ t, moving }: TickFacts): void {
    for (const x of this.#towed) {
      const { state } = x;
      if (this.#isSeen(x, t)) {
        state.unseenMovingMs = 0;
        state.isGone = false;
        this.#rule?.state(x.subject, 0, t, AGE_MS, false, true);
      } else if (moving && this.#isAudible(x, t)) {
        state.unseenMovingMs += TICK_MS;
        if (state.unseenMovingMs < this.#goneAfterMs) continue;
        if (!state.isGone) this.#gone.push(x.unit);
        state.isGone = true;
        this.#rule?.verdict(x.subject, 0, t, true, false);
      }
    }
  }

  /** Units that were given up since this was asked last. */
  takeGone(): string[] {
    const gone = this.#gone;
    if (gone.length > 0) this.#gone = [];
    return gone;
  }

  /** Is the silence of the tire that of its whole unit, of which this rule will tell? */
  isUnitUnseen(tire: number): boolean {
    if (this.#rule === undefined) return false;
    for (const x of this.#towed) if (x.state.unseenMovingMs >= TOGETHER_MS && x.tires.own.includes(tire)) return true;
    return false;
  }

  #end(i: number): WheelEndState {
    return this.#ends[this.#endNames[i]!]!;
  }

  #isSeen({ tires, ends }: Towed, t: StreamMs): boolean {
    for (const i of tires.own) {
      const s = this.#tires.states[i]!;
      if (t - s.at <= TICK_MS || t - s.temperatureAt <= TICK_MS || t - s.faultAt <= TICK_MS) return true;
    }
    for (const i of ends.own) {
      const s = this.#end(i);
      if (t - s.at <= TICK_MS || t - s.strokeAt <= TICK_MS) return true;
    }
    return false;
  }

  /** Would it be heard if it were there? */
  #isAudible({ tires, ends }: Towed, t: StreamMs): boolean {
    const { states } = this.#tires;
    const tireSource = (i: number): number => states[i]!.readingSource;
    const endSource = (i: number): number => this.#end(i).source;
    const isTireFresh = (i: number): boolean => this.#tires.isFresh(i, t);
    const isEndFresh = (i: number): boolean => t - this.#end(i).at <= BRAKES_AGE_MS;
    const byTires = isAudible(tires, tireSource, isTireFresh);
    const byEnds = isAudible(ends, endSource, isEndFresh);
    if (byTires !== null || byEnds !== null) return byTires === true || byEnds === true;
    return tires.others.some(isTireFresh);
  }
}

/** By its senders: one that tells of nothing else, or one that still tells of the rest. null: it was never heard. */
function isAudible(
  { own, others }: Members,
  sourceOf: (i: number) => number,
  isFresh: (i: number) => boolean,
): boolean | null {
  let audible: boolean | null = null;
  for (const i of own) {
    const source = sourceOf(i);
    if (source < 0) continue;
    audible ??= false;
    const shared = others.filter((k) => sourceOf(k) === source);
    if (shared.length === 0 || shared.some(isFresh)) return true;
  }
  return audible;
}
