import type { RangeExceptions, SignalKind } from './ranges.js';

/**
 * How sure the place and scale of a signal are. A: two separately kept open transcriptions agree and a real frame decodes
 * sensibly. B: two agree. C+: one, and a second confirms group and order. C: one. M: from memory.
 */
export type Grade = 'A' | 'B' | 'C+' | 'C' | 'M';

/**
 * One suspect parameter (SPN) in a group. Physical value = raw × scale + offset, in `unit`.
 * A signal of kind `text` is the n-th field that ends with `*`: `startBit` is n from 0 and `bits` is 0.
 */
export interface Signal {
  readonly spn: number;
  readonly name: string;
  /** Bit offset from 0 in the payload read as one little-endian integer: (byte − 1) × 8 + (bit − 1). */
  readonly startBit: number;
  readonly bits: number;
  readonly scale: number;
  readonly offset: number;
  readonly unit: string;
  readonly kind: SignalKind;
  /** What the raw values of a state mean, where an open source says. */
  readonly states?: Readonly<Record<number, string>>;
  readonly exceptions?: RangeExceptions;
  readonly grade: Grade;
}

/** One parameter group (PGN). */
export interface Group {
  readonly pgn: number;
  readonly acronym: string;
  readonly name: string;
  /** Bytes; null for groups of varying length, which come by transport protocol. */
  readonly length: number | null;
  /** The slowest regular interval the standard allows; null for groups sent on request. */
  readonly intervalMs: number | null;
  readonly signals: readonly Signal[];
}

/** Meanings shared by signals: texts by raw value, and the qualities that differ from the value-range rule. */
export interface Codes {
  readonly texts?: Readonly<Record<number, string>>;
  readonly exceptions?: RangeExceptions;
}

export function number(
  spn: number,
  name: string,
  startBit: number,
  bits: number,
  scale: number,
  offset: number,
  unit: string,
  grade: Grade,
  exceptions?: RangeExceptions,
): Signal {
  const signal: Signal = { spn, name, startBit, bits, scale, offset, unit, kind: 'number', grade };
  return exceptions ? { ...signal, exceptions } : signal;
}

export function state(spn: number, name: string, startBit: number, bits: number, codes: Codes, grade: Grade): Signal {
  return {
    ...plain(spn, name, startBit, bits, 'state', grade),
    ...(codes.texts && { states: codes.texts }),
    ...(codes.exceptions && { exceptions: codes.exceptions }),
  };
}

/** High nibble: axle from 0, front to rear. Low nibble: position on the axle from 0, left to right facing forward. */
export function location(spn: number, name: string, startBit: number, grade: Grade): Signal {
  return plain(spn, name, startBit, 8, 'location', grade);
}

export function address(spn: number, name: string, startBit: number, grade: Grade): Signal {
  return plain(spn, name, startBit, 8, 'address', grade);
}

export function text(spn: number, name: string, field: number, grade: Grade): Signal {
  return plain(spn, name, field, 0, 'text', grade);
}

function plain(spn: number, name: string, startBit: number, bits: number, kind: SignalKind, grade: Grade): Signal {
  return { spn, name, startBit, bits, scale: 1, offset: 0, unit: '', kind, grade };
}

/** A state whose texts no open source gives: shown as a bare code. */
export const NO_TEXT: Codes = {};
export const ON_OFF: Codes = { texts: { 0: 'off', 1: 'on' } };
export const ACTIVE: Codes = { texts: { 0: 'not active', 1: 'active' } };
export const PRESSED: Codes = { texts: { 0: 'released', 1: 'pressed' } };
/** Control functions that are fitted: 2 is reserved here, not an error. */
export const CONTROL: Codes = { texts: { 0: 'passive', 1: 'active' }, exceptions: { 2: 'reserved' } };
/** Lamp commands: 3 asks the display to leave things as they are, so it says nothing. */
export const WARNING: Codes = { texts: { 0: 'off', 1: 'on', 3: 'no change asked' }, exceptions: { 2: 'reserved' } };
