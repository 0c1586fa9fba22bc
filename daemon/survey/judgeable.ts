import { RULE_NAMES, type RuleName, type TruckConfig } from '../../config/resolved.js';
import { RULES } from '../alerts/rules.js';
import { PGN_DM1 } from '../j1939/interest.js';
import { groupOf, groupOfSpn } from '../j1939/signals.js';
import { listSubjects } from '../truck/subjects.js';
import { BOUNDS, NEEDS, type Need } from './needs.js';
import { hasState } from './strokes-seen.js';
import type { Survey } from './survey.js';
import { type LocationSeen, pressureOf } from './tires-seen.js';
import type { Values } from './values.js';

/** `off`: by the truck file. `later`: no version judges it yet; what it would miss is told all the same. */
export type Verdict = 'yes' | 'less' | 'no' | 'off' | 'later';

export interface RuleVerdict {
  rule: RuleName;
  judged: Verdict;
  /** Of the way to judge it that is nearest: what is not there, and why. Empty unless it cannot be judged. */
  missing: { need: string; why: string }[];
  /** What would make it better, why that is not there, and what it is like without. */
  without: { need: string; why: string; effect: string }[];
  /** What a person has to write into the truck file for it; only where no truck file was given. */
  asks: string[];
}

/** How far a need is met. */
type Met = { met: 'yes' } | { met: 'no' | 'partly'; why: string } | { met: 'asked'; what: string };

const YES: Met = { met: 'yes' };

/** Tires of the truck, with what was heard of each. */
export interface TireHeard {
  subject: string;
  seen: LocationSeen[];
}

/** Which rules this truck's bus lets the program judge, in the order of the rule table. */
export function judgeable(survey: Survey, tires: readonly TireHeard[], config: TruckConfig | null): RuleVerdict[] {
  const look = new Look(survey, tires, config);
  return RULE_NAMES.map((rule) => look.verdict(rule));
}

class Look {
  readonly #survey: Survey;
  readonly #tires: readonly TireHeard[];
  readonly #config: TruckConfig | null;
  /** Every sender's values by SPN. */
  readonly #values = new Map<number, Values[]>();
  readonly #pgns = new Set<number>();

  constructor(survey: Survey, tires: readonly TireHeard[], config: TruckConfig | null) {
    this.#survey = survey;
    this.#tires = tires;
    this.#config = config;
    for (const bus of survey.buses) {
      for (const sender of bus.senders) {
        for (const seen of sender?.groups.values() ?? []) {
          this.#pgns.add(seen.pgn);
          for (const [i, { spn }] of (seen.group?.signals ?? []).entries())
            this.#values.set(spn, [...(this.#values.get(spn) ?? []), seen.values[i]!]);
        }
      }
    }
  }

  verdict(rule: RuleName): RuleVerdict {
    const { ways, helps = [] } = NEEDS[rule];
    const tried = ways.map((way) => way.map((need) => ({ need, ...this.#meet(need) })));
    const lacking = tried.map((way) => way.filter(({ met }) => met === 'no').length);
    const best = tried[lacking.indexOf(Math.min(...lacking))]!;
    const missing = best.flatMap((one) => (one.met === 'no' ? [{ need: one.need.what, why: one.why }] : []));
    const without = best.flatMap((one) =>
      one.met === 'partly' ? [{ need: one.need.what, why: one.why, effect: 'the others are judged' }] : [],
    );
    for (const { need, without: effect } of helps) {
      const one = this.#meet(need);
      if (one.met === 'no' || one.met === 'partly') without.push({ need: need.what, why: one.why, effect });
    }
    if ((rule === 'fault-code' || rule === 'stop-lamp') && !this.#pgns.has(PGN_DM1)) {
      const why = 'no DM1 came';
      without.push({ need: 'fault codes', why, effect: 'a unit need not send DM1 while it has no active code' });
    }
    const asks = best.flatMap((one) => (one.met === 'asked' ? [one.what] : []));
    const isOn = RULES.some(({ name }) => name === rule);
    const isOff = this.#config !== null && !this.#config.rules[rule].enabled;
    const found: Verdict = missing.length > 0 ? 'no' : without.length > 0 ? 'less' : 'yes';
    return { rule, judged: !isOn ? 'later' : isOff ? 'off' : found, missing, without, asks };
  }

  #meet(need: Need): Met {
    switch (need.kind) {
      case 'signal':
        return this.#signal(need);
      case 'tire':
        return this.#tire(need);
      case 'brake':
        return this.#brake(need);
      case 'file':
        return this.#file(need);
    }
  }

  #extra(quantity: string, fits: (subject: string) => boolean): boolean {
    return this.#survey.extras.some(
      ({ signal, values }) => signal.quantity === quantity && fits(signal.subject) && values.good > 0,
    );
  }

  #signal({ spns, subjects = [] }: Need & { kind: 'signal' }): Met {
    if (this.#extra('pressure', (subject) => subjects.includes(subject))) return YES;
    const has = (spn: number): boolean => (this.#values.get(spn) ?? []).some((values) => isPlausible(spn, values));
    if (spns.some(has)) return YES;
    return { met: 'no', why: this.#why(spns) };
  }

  /** Group by group: did it come, and what did it say? */
  #why(spns: readonly number[]): string {
    const pgns = [...new Set(spns.map((spn) => groupOfSpn(spn)!.pgn))];
    const told = pgns.filter((pgn) => this.#pgns.has(pgn));
    const words = told.map((pgn) => {
      const ours = spns.filter((spn) => groupOfSpn(spn)!.pgn === pgn);
      return `${spnsOf(ours)} in ${groupOf(pgn)!.acronym}: ${this.#saying(ours)}`;
    });
    const absent = pgns.filter((pgn) => !this.#pgns.has(pgn));
    const onRequest = absent.filter((pgn) => groupOf(pgn)!.intervalMs === null);
    const regular = absent.filter((pgn) => groupOf(pgn)!.intervalMs !== null);
    const names = (list: readonly number[]): string => list.map((pgn) => groupOf(pgn)!.acronym).join(', ');
    if (regular.length > 0) words.push(`${names(regular)} never came`);
    if (onRequest.length > 0) {
      const asked = onRequest.some((pgn) => this.#survey.requests.has(pgn));
      const end = asked ? 'was asked for by another and did not come' : 'is sent on request only, and nobody asked';
      words.push(`${names(onRequest)} ${end}`);
    }
    return words.join('; ');
  }

  #saying(spns: readonly number[]): string {
    const all = spns.flatMap((spn) => this.#values.get(spn) ?? []);
    if (all.some(({ good }) => good > 0)) return 'no value that can be true';
    if (all.some(({ error }) => error > 0)) return 'error';
    return all.every(({ absent, count }) => absent === count) ? 'not available' : 'no value';
  }

  #tire({ quantity }: Need & { kind: 'tire' }): Met {
    const heard = (seen: LocationSeen): boolean => {
      if (quantity === 'frames') return seen.frames > 0;
      return (quantity === 'pressure' ? pressureOf(seen) : seen.temperature).good > 0;
    };
    const byExtra = (subject: string): boolean =>
      quantity !== 'frames' && this.#extra(quantity, (other) => other === subject);
    const have = this.#tires.filter(({ subject, seen }) => seen.some(heard) || byExtra(subject)).length;
    if (have === 0) {
      const frames = this.#survey.tires.list().some((seen) => seen.frames > 0);
      if (!frames) return { met: 'no', why: 'no tire message came (TIRE1, TIRE2)' };
      const known = this.#survey.tires.list().some(heard);
      return { met: 'no', why: known ? 'only from locations that the truck file does not have' : 'not available' };
    }
    // How many tires a truck has is known from its file only.
    if (this.#config === null || have === this.#tires.length) return YES;
    return { met: 'partly', why: `from ${have} of ${this.#tires.length} tires` };
  }

  #brake({ quantity }: Need & { kind: 'brake' }): Met {
    if (quantity === 'stroke') {
      return this.#extra('stroke', () => true)
        ? YES
        : { met: 'no', why: 'no standard message carries it: describe the sender under signals in the truck file' };
    }
    const fields = [...Array(20).keys()].filter((field) =>
      this.#survey.strokes.list().some((seen) => hasState(seen, field)),
    );
    if (fields.length === 0) {
      const came = this.#survey.strokes.list().length > 0;
      return { met: 'no', why: came ? 'BSA tells of no brake' : 'BSA never came' };
    }
    if (this.#config === null) return YES;
    const ends = listSubjects(this.#config.units).wheelEnds;
    const have = ends.filter(({ bsaField }) => fields.includes(bsaField)).length;
    if (have === 0) return { met: 'no', why: 'BSA tells of no brake that the truck file has' };
    return have === ends.length ? YES : { met: 'partly', why: `from ${have} of ${ends.length} brakes` };
  }

  #file({ key, what }: Need & { kind: 'file' }): Met {
    if (this.#config === null)
      return key === 'coldPressure' || key === 'chamber' ? { met: 'asked', what } : this.#shape(key);
    if (key !== 'coldPressure' && key !== 'chamber') return this.#shape(key);
    const axles = this.#config.units.flatMap((unit) => unit.axles);
    const have = axles.filter((axle) => (key === 'chamber' ? axle.chamber : axle.coldPressureKpa) !== null).length;
    if (have === axles.length) return YES;
    if (have === 0) return { met: 'no', why: 'the truck file has none' };
    return { met: 'partly', why: `for ${have} of ${axles.length} axles` };
  }

  /** What the layout must be like; without a truck file it is the guessed one. */
  #shape(key: 'duals' | 'sixTires' | 'trailer'): Met {
    const subjects = this.#tires.map(({ subject }) => subject);
    const has =
      key === 'duals'
        ? subjects.some((subject) => subject.endsWith('/inner'))
        : key === 'trailer'
          ? subjects.some((subject) => subject.startsWith('trailer'))
          : subjects.length >= 6;
    return has ? YES : { met: 'no', why: this.#config === null ? 'none was heard' : 'the truck file has none' };
  }
}

/** Was there a value that can be true? */
export function isPlausible(spn: number, values: Values): boolean {
  const [least, most] = BOUNDS[spn] ?? [Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY];
  return values.isWithin(least, most);
}

const LIST = 4;

/** `SPN 117, 118`; many of one group follow each other. */
const spnsOf = (spns: readonly number[]): string =>
  `SPN ${spns.length > LIST ? `${spns[0]} to ${spns.at(-1)}` : spns.join(', ')}`;
