import { listSubjects, type Subjects } from '../daemon/truck/subjects.js';
import { suggest } from './problems.js';
import { type Complaint, type Dimension, type Parsed, parseQuantity } from './quantities.js';
import type { TruckConfig } from './resolved.js';

/** What a red or amber lamp and one fault code of a control unit say (DM1). */
export interface FaultCodes {
  lamp: 'none' | 'amber' | 'red';
  code: { spn: number; fmi: number } | null;
}

/**
 * One value of a series, numbers in the inner unit. `none`: nothing is sent; `error` and `absent`: the sender says that it
 * has no value.
 */
export type Value = number | 'none' | 'error' | 'absent' | FaultCodes;

type Of = 'truck' | 'tire' | 'brake' | 'brakes' | 'air' | 'source';

interface QuantityInfo {
  of: readonly Of[];
  /** A number with a unit within these limits … */
  number?: { dimension: Dimension; low: number; high: number };
  /** … or a word. */
  words?: Record<string, number>;
  /** How often it is sent where nothing else is said, s. */
  everyS: number;
}

const pressed = { released: 0, pressed: 1 };

/** Everything that a series can tell. */
export const QUANTITIES = {
  speed: { of: ['truck'], number: { dimension: 'speed', low: 0, high: 250 }, everyS: 1 },
  engine: { of: ['truck'], number: { dimension: 'engineSpeed', low: 0, high: 8000 }, words: { off: 0 }, everyS: 1 },
  parkingBrake: { of: ['truck'], words: { released: 0, set: 1 }, everyS: 1 },
  brakeSwitch: { of: ['truck'], words: pressed, everyS: 1 },
  pedal: { of: ['truck'], number: { dimension: 'share', low: 0, high: 1 }, everyS: 1 },
  brakePressure: { of: ['truck'], number: { dimension: 'pressure', low: 0, high: 1000 }, everyS: 1 },
  ambient: { of: ['truck'], number: { dimension: 'temperature', low: -60, high: 70 }, everyS: 1 },
  barometer: { of: ['truck'], number: { dimension: 'pressure', low: 45, high: 115 }, everyS: 1 },
  compressor: { of: ['truck'], words: { off: 0, pumping: 1 }, everyS: 1 },
  traffic: { of: ['truck'], words: { on: 1, off: 0 }, everyS: 1 },
  pressure: { of: ['tire', 'air'], number: { dimension: 'pressure', low: 0, high: 2000 }, everyS: 1 },
  temperature: { of: ['tire', 'brake'], number: { dimension: 'temperature', low: -60, high: 600 }, everyS: 10 },
  stroke: { of: ['brake'], number: { dimension: 'length', low: 0, high: 125 }, everyS: 1 },
  strokeStatus: {
    of: ['brake'],
    words: { ok: 0, 'not applying': 1, 'over-stroke': 2, dragging: 3, 'sensor error': 6, 'not fitted': 7 },
    everyS: 1,
  },
  lining: { of: ['brake'], number: { dimension: 'share', low: 0, high: 1 }, everyS: 1 },
  heatWarning: { of: ['brakes'], words: { off: 0, on: 1 }, everyS: 1 },
  faultCodes: { of: ['source'], everyS: 1 },
} as const satisfies Record<string, QuantityInfo>;

export type QuantityName = keyof typeof QUANTITIES;
export const QUANTITY_NAMES = Object.keys(QUANTITIES) as QuantityName[];

export const infoOf = (quantity: QuantityName): QuantityInfo => QUANTITIES[quantity];

export const AIR_SUBJECTS = ['air/primary', 'air/secondary', 'air/supply', 'air/parking'] as const;

/** EBC4 tells of the lining of these axles alone. */
const LINING_AXLES = 4;

/** A truck as series see it. */
export class TestTruck {
  readonly config: TruckConfig;
  readonly subjects: Subjects;

  constructor(config: TruckConfig) {
    this.config = config;
    this.subjects = listSubjects(config.units);
  }

  /** Everything on wheels that events can be about. */
  get wheelSubjects(): string[] {
    const { tires, wheelEnds, pairs } = this.subjects;
    return [...tires, ...wheelEnds, ...pairs].map(({ subject }) => subject);
  }

  /** What a quantity can be told of here. */
  subjectsOf(quantity: QuantityName): string[] {
    return infoOf(quantity).of.flatMap((of) => this.#subjects(of, quantity));
  }

  #subjects(of: Of, quantity: QuantityName): string[] {
    const { wheelEnds, tires } = this.subjects;
    if (of === 'truck' || of === 'brakes') return [of];
    if (of === 'tire') return tires.filter(({ location }) => location >= 0).map(({ subject }) => subject);
    if (of === 'air') return [...AIR_SUBJECTS];
    if (of === 'source') return this.config.buses.map(({ name }) => `source/${name}/48`);
    if (quantity === 'strokeStatus') return wheelEnds.filter((e) => e.bsaField >= 0).map((e) => e.subject);
    if (quantity === 'lining')
      return wheelEnds.filter((e) => e.unit === 'tractor' && e.axleIndex < LINING_AXLES).map((e) => e.subject);
    // What no standard message carries the truck file has to describe.
    return this.config.signals
      .filter((signal) => signal.quantity === quantity && wheelEnds.some((e) => e.subject === signal.subject))
      .map(({ subject }) => subject);
  }

  /** null: fine. */
  complaintOf(subject: string, quantity: QuantityName): Complaint | null {
    const possible = this.subjectsOf(quantity);
    if (possible.includes(subject)) return null;
    const [head, bus, source] = subject.split('/');
    const isBus = this.config.buses.some(({ name }) => name === bus);
    if (quantity === 'faultCodes' && head === 'source' && isBus && /^\d+$/.test(source ?? '') && Number(source) < 254)
      return null;
    const text = `"${subject}" has no ${quantity} here`;
    if (possible.length === 0) return { text, hint: 'the truck file describes none under signals' };
    return { text, hint: suggest(subject, possible) };
  }

  /** Target gauge pressure of a tire, kPa, or null. */
  targetOf(subject: string): number | null {
    return this.subjects.tires.find((tire) => tire.subject === subject)?.coldPressureKpa ?? null;
  }
}

const SAID: Record<string, Value> = { none: 'none', '-': 'none', error: 'error', absent: 'absent' };
const CODES = /^(?:no code|(\d{1,6})\/(\d{1,2}))?(?: ?\b(red|amber)\b)?$/;

/** One value as it is written. A share is of the target where the quantity is the pressure of a tire. */
export function parseValue(text: string, quantity: QuantityName, targetKpa: number | null): Parsed<Value> {
  const said = SAID[text];
  if (said !== undefined) return { value: said };
  if (quantity === 'faultCodes') return parseCodes(text);
  const { number, words = {} } = infoOf(quantity);
  if (Object.hasOwn(words, text)) return { value: words[text]! };
  if (number === undefined)
    return { complaint: { text: `"${text}" is no ${quantity}`, hint: suggest(text, [...Object.keys(words), 'none']) } };
  if (quantity === 'pressure' && text.endsWith('%')) {
    if (targetKpa === null)
      return {
        complaint: { text: `"${text}" of what?`, hint: 'only tires with a coldPressure can be told in shares' },
      };
    const share = parseQuantity(text, 'share', { low: 0, high: 2 });
    return share.complaint === undefined ? { value: share.value * targetKpa } : share;
  }
  return parseQuantity(text, number.dimension, { low: number.low, high: number.high });
}

function parseCodes(text: string): Parsed<Value> {
  const match = CODES.exec(text);
  const [spn, fmi] = [Number(match?.[1] ?? 0), Number(match?.[2] ?? 0)];
  if (text === '' || match === null || spn >= 2 ** 19 || fmi > 31) {
    const hint = 'write SPN/FMI and the lamp, for example "117/18 red", or "no code"';
    return { complaint: { text: `"${text}" is no fault code`, hint } };
  }
  const code = match[1] === undefined ? null : { spn, fmi };
  return { value: { lamp: (match[3] as 'red' | 'amber') ?? (code === null ? 'none' : 'amber'), code } };
}
