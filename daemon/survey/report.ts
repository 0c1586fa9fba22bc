import type { TruckConfig } from '../../config/resolved.js';
import type { Verdict } from './judgeable.js';
import type { LayoutGuess } from './layout-guess.js';

/**
 * What a survey found, as plain data: the form of `--format json` (docs/survey.md). Pressures in kPa, temperatures in °C,
 * intervals in ms; null: unknown or nothing there.
 */
export interface SurveyReport {
  v: 1;
  source: SourceReport;
  /** From the first to the last frame. */
  durationS: number;
  buses: BusReport[];
  senders: SenderReport[];
  /** Groups of interest that came, by sender. */
  groups: GroupReport[];
  /** Groups of interest that never came, on any bus. */
  never: { pgn: number; acronym: string; onRequest: boolean; requests: number }[];
  /** Other groups, most frames first, at most MAX_OTHERS. */
  others: OtherReport[];
  /** Signals that the truck file describes. */
  extras: ExtraReport[];
  layout: {
    from: 'truck file' | 'guess';
    /** How the end of the tractor was guessed; null with a truck file. */
    split: LayoutGuess['split'] | null;
    units: TruckConfig['units'];
    tirePositions: TruckConfig['tirePositions'];
  };
  /** By sender and location byte. */
  tires: LocationReport[];
  /** Brakes that any BSA calls fitted, by sender. */
  brakes: BrakeReport[];
  air: AirReport[];
  faults: FaultReport[];
  rules: {
    rule: string;
    judged: Verdict;
    missing: { need: string; why: string }[];
    without: { need: string; why: string; effect: string }[];
    asks: string[];
  }[];
  /** null without a truck file. */
  truckFile: TruckFileReport | null;
  /** What there was no room to tell apart. */
  leftOut: { frames: number; others: number; locations: number; strokes: number; faultCodes: number };
}

export interface SourceReport {
  kind: 'bus' | 'log';
  /** Interfaces or files, as they were named. */
  names: string[];
  /** Of a live bus: how each interface was listened to. */
  listened: ListenedReport[];
  /** Frames that are not taken: 11-bit identifiers, remote frames, CAN FD. On a live bus they cannot be told apart. */
  skipped: { all: number; shortIds: number | null; rtr: number | null; fd: number | null };
  /** Of a log. */
  badLines: number;
  otherInterfaces: number;
  /** Stamps that went back: a little, and by more than a second. */
  clamped: number;
  seams: number;
  /** Somebody, or an interface that went down, ended it before its time. */
  endedEarly: boolean;
}

export interface ListenedReport {
  interface: string;
  state: 'listen-only' | 'acknowledging' | 'virtual' | 'down';
  /** Frames that the kernel had and that were not taken in time, as far as it can be told. */
  lost: number | null;
}

export interface BusReport {
  bus: string;
  interface: string;
  /** Data frames with identifiers of 29 bits. */
  frames: number;
  perS: number | null;
  ofInterest: number;
  /** Not J1939 (EDP set). */
  foreign: number;
  /** Bits per second without stuffing, and with the most. */
  bitsPerS: [number, number] | null;
  errorFrames: number;
  /** By class, those that came. */
  errors: Record<string, number>;
  transfers: { complete: number; broken: number };
}

export interface NameReport {
  hex: string;
  manufacturer: number;
  identity: number;
  function: number;
  functionInstance: number;
  ecuInstance: number;
  vehicleSystem: number;
  vehicleSystemInstance: number;
  industryGroup: number;
  arbitraryAddress: boolean;
}

export interface SenderReport {
  bus: string;
  sa: number;
  /** What the address is usually used for; null: no common use. */
  usual: string | null;
  frames: number;
  perS: number | null;
  /** PGNs that it sends, of interest and others. */
  groups: number;
  /** null: no claim was heard. */
  name: NameReport | null;
}

export interface IntervalReport {
  medianMs: number | null;
  /** 5 and 95 %. */
  fromMs: number | null;
  toMs: number | null;
}

export interface SignalReport {
  spn: number;
  name: string;
  unit: string;
  /** Shares of all times that it was looked at. */
  good: number;
  absent: number;
  error: number;
  /** Reserved codes and such with a meaning of their own. */
  other: number;
  last: number | null;
  least: number | null;
  most: number | null;
  /** false: there were values, and none that can be true where a truck is. */
  plausible: boolean;
  /** Of a state: share of each code that came, with its meaning where it is known. */
  codes: { code: number; text: string | null; share: number }[];
  text: string | null;
}

export interface GroupReport extends IntervalReport {
  bus: string;
  sa: number;
  pgn: number;
  acronym: string;
  count: number;
  /** Of them, put together from several frames. */
  long: number;
  /** The interval is that of one location. */
  byLocation: boolean;
  /** The slowest that the standard allows; null: on request, or none. */
  standardMs: number | null;
  signals: SignalReport[];
}

export interface OtherReport extends IntervalReport {
  bus: string;
  sa: number;
  pgn: number;
  kind: 'proprietary' | 'request' | 'acknowledgement' | 'other';
  /** null: to everybody, or to several. */
  to: number | null;
  count: number;
  /** Last data, hexadecimal, and which bytes (from 1) were not always the same. */
  data: string;
  changed: number[];
}

export interface ExtraReport {
  subject: string;
  quantity: string;
  pgn: number;
  source: number | null;
  count: number;
  good: number;
  last: number | null;
  least: number | null;
  most: number | null;
}

export interface RangeReport {
  last: number;
  least: number;
  most: number;
}

export interface LocationReport extends IntervalReport {
  bus: string;
  sa: number;
  location: number;
  /** null: the layout has no tire there. */
  subject: string | null;
  frames: number;
  /** Which group gives the pressure that is judged. */
  from: 'TIRE1' | 'TIRE2';
  pressure: RangeReport | null;
  temperature: RangeReport | null;
  /** Share of the frames without a good pressure. */
  absent: number;
  /** Frames in which the sender had heard nothing of the sensor. */
  idle: number;
  /** Frames in which it called it a leak; a sensor error; codes of SPN 2587 other than 2 and not available. */
  leak: number;
  fault: number;
  outOfRange: number;
  /** The sender's own target: SPN 6989, 6980 or 3191. */
  target: number | null;
}

export interface BrakeReport {
  bus: string;
  sa: number;
  /** SPN 3785 to 3804. */
  spn: number;
  /** As the layout has it; null: it has no such brake. */
  subject: string | null;
  /** What BSA calls it. */
  place: string;
  last: string;
  codes: { code: number; text: string; share: number }[];
}

export interface AirReport {
  what: string;
  spn: number;
  bus: string;
  sa: number;
  good: number;
  last: number | null;
  least: number | null;
  most: number | null;
  /** Of the compressor's state. */
  codes: { code: number; text: string | null; share: number }[];
}

export interface FaultReport {
  bus: string;
  sa: number;
  messages: number;
  /** Since its last DM1 until the end. */
  ageS: number;
  lamps: string[];
  codes: FaultCodeReport[];
  /** Beyond MAX_FAULT_CODES. */
  more: number;
}

export interface FaultCodeReport {
  spn: number;
  fmi: number;
  /** Occurrences; null: the sender does not count. */
  count: number | null;
  /** In one of the older layouts: the SPN may be another one, and the code is judged nowhere. */
  oldLayout: boolean;
  /** What of tires, brakes and air it is about; null: something else. */
  area: string | null;
  text: string | null;
}

export interface TruckFileReport {
  /** Buses of the file that were not listened to. */
  buses: string[];
  /** Tires of the file of which no message came, and those with messages but never a pressure. */
  tiresUnheard: string[];
  tiresWithoutPressure: string[];
  /** Brakes of which no stroke status came although BSA has a place for them; and extra signals that never came. */
  brakesUnheard: string[];
  signalsUnheard: string[];
  /** Senders that tirePositions or gauge name and that sent no tire message. */
  sendersUnheard: string[];
  /** Locations and brakes that the file does not have. */
  strangeLocations: { bus: string; sa: number; location: number; frames: number }[];
  strangeBrakes: { bus: string; sa: number; place: string }[];
  /** What it leaves out: axles without coldPressure, without chamber. */
  axlesWithoutColdPressure: string[];
  axlesWithoutChamber: string[];
}
