/**
 * The configuration after reading, checking and merging: SI units only, every default filled in.
 * Plain data, so that it can be hashed, compared, recorded and handed to a worker.
 */

export const URGENCIES = ['plan', 'next-stop', 'pull-over'] as const;
/** What the office should do: repair at the next service; check at the next safe stop; stop as soon as it is safe. */
export type Urgency = (typeof URGENCIES)[number];

export const RULE_NAMES = [
  'tire-underinflated',
  'tire-losing-air',
  'tire-overinflated',
  'tire-hot',
  'duals-unequal',
  'tire-sensor-silent',
  'tire-sensor-fault',
  'layout-mismatch',
  'trailer-not-seen',
  'tires-off-target',
  'brake-overstroke',
  'brake-dragging',
  'brake-not-applying',
  'brake-stroke-uneven',
  'brake-stroke-growing',
  'brake-lining-low',
  'brake-hot',
  'brakes-defective-share',
  'brake-sensor-fault',
  'air-low',
  'air-leaking',
  'air-builds-slowly',
  'air-cut-in-low',
  'air-cut-out-high',
  'compressor-overworked',
  'circuits-unequal',
  'fault-code',
  'stop-lamp',
  'bus-silent',
  'bus-off',
  'source-silent',
  'test-message',
] as const;
export type RuleName = (typeof RULE_NAMES)[number];

/** One limit of a rule with its hysteresis and its delays. Values in the SI unit that the rule declares. */
export interface Criterion {
  urgency: Urgency;
  /** Raise at this value (≤ for low limits, ≥ for high ones); null where the rule judges a state, not a number. */
  raise: number | null;
  clear: number | null;
  raiseAfterS: number;
  clearAfterS: number;
  /** n of the last m applications or readings, instead of raiseAfterS. */
  of: { n: number; m: number } | null;
  /** The source of the limit, or "common practice". */
  basis: string;
}

export interface RuleConfig {
  enabled: boolean;
  /** By criterion name. The three urgencies are the names of the ordinary levels; others are further ways to a level. */
  criteria: Record<string, Criterion>;
  /** Other constants of the rule, in the SI unit that its name ends with (…Kpa, …S, …KpaPerMin, …C, …Share). */
  constants: Record<string, number>;
}

export interface AxleConfig {
  name: string;
  kind: 'steer' | 'drive' | 'lift' | 'tag' | 'trailer';
  tires: 'single' | 'dual';
  /** Target gauge pressure, kPa, at coldReferenceC; null where the truck file leaves it out. */
  coldPressureKpa: number | null;
  chamber: { type: string; ratedStrokeMm: number | null } | null;
}

export interface UnitConfig {
  /** tractor, trailer, trailer-2 or dolly */
  unit: string;
  /** Trailer number painted on it, or null. */
  id: string | null;
  axles: AxleConfig[];
}

export interface ExtraSignal {
  /** Bus name; null for any. */
  bus: string | null;
  pgn: number;
  /** Source address; null for any. */
  source: number | null;
  /** First byte from 1, first bit of it from 1, length in bits (at most 32). */
  byte: number;
  bit: number;
  length: number;
  scale: number;
  offset: number;
  /** e.g. stroke (mm), pressure (kPa), temperature (°C) */
  quantity: string;
  subject: string;
}

/** Where a secret stands. The secret itself never is part of a configuration: that one is recorded, packed and printed. */
export type SecretPlace = { file: string } | { env: string };

export interface BrokerConfig {
  url: string;
  confirm: 'broker' | 'office';
  /** Somebody has allowed to send plainly over a network. */
  unencrypted: boolean;
  user: string | null;
  password: SecretPlace | null;
  /** Files in PEM form: authorities to trust, own certificate and its key. */
  ca: string | null;
  cert: string | null;
  key: string | null;
}

/** A sensor that somebody says is bad: the rules of its subject are not judged until its end, or until its readings change. */
export interface Mark {
  subject: string;
  what: 'sensor-bad';
  who: string;
  /** Wall clock, ms. */
  untilMs: number;
}

export interface TruckConfig {
  fleet: string;
  truck: string;
  vehicle: 'truck' | 'bus';
  buses: { name: string; interface: string; acknowledge: boolean }[];
  /** Front to rear: tractor first, then what it tows. */
  units: UnitConfig[];
  /** Only what differs from the default mapping: per bus and source address, location byte → tire subject. */
  tirePositions: { bus: string; source: number; tires: Record<number, string> }[];
  /** Source addresses whose tire pressure is absolute less a constant. */
  fixedGaugeSources: { bus: string; source: number }[];
  signals: ExtraSignal[];
  coldReferenceC: number;
  /** Air pressure where the targets were set, kPa absolute (from depotAltitude). */
  depotAirKpa: number;
  show: { pressure: 'kPa' | 'psi' | 'bar'; temperature: '°C' | '°F'; position: 'exact' | 'rounded' | 'none' };
  rules: Record<RuleName, RuleConfig>;
  mqtt: BrokerConfig | null;
  store: { path: string; maxBytes: number; keepMs: number } | null;
  recorder: { path: string; maxBytes: number } | null;
  /** The local page with health and metrics, on loopback; null: none. */
  health: { port: number } | null;
  /** trust: the host's clock counts as right once it is past the floor, without a word of the service that sets it. */
  clock: { trust: boolean };
  /** What people said of sensors. Not in the truck file: `axlepost mark` keeps them beside the store. */
  marks: Mark[];
  /** Eight hex digits over all that is judged on. */
  hash: string;
}
