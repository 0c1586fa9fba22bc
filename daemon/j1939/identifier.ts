/**
 * The 29-bit identifier of SAE J1939-21: `P[28:26] EDP[25] DP[24] PF[23:16] PS[15:8] SA[7:0]`.
 * PF below 240 is PDU1: PS is the destination address and no part of the PGN. Otherwise PDU2: PS extends the group.
 */

/** Destination of a group that has none, and of a request to everybody. */
export const GLOBAL_ADDRESS = 255;
/** Source address of a unit that could not claim one. */
export const NULL_ADDRESS = 254;

const PDU2_FIRST_PF = 240;

/** False for EDP = 1: reserved, or with DP = 1 ISO 15765-3 diagnostics, which share the wire but not the meaning. */
export function isJ1939(id: number): boolean {
  return (id & 0x02000000) === 0;
}

export function isPdu1(id: number): boolean {
  return ((id >>> 16) & 0xff) < PDU2_FIRST_PF;
}

/** The parameter group number with EDP and DP, 18 bits. */
export function pgnOf(id: number): number {
  const wide = (id >>> 8) & 0x3ffff;
  return (wide & 0xff00) < 0xf000 ? wide & 0x3ff00 : wide;
}

export function sourceOf(id: number): number {
  return id & 0xff;
}

/** 255 (everybody) for PDU2. */
export function destinationOf(id: number): number {
  return isPdu1(id) ? (id >>> 8) & 0xff : GLOBAL_ADDRESS;
}

/** 0 (first on the wire) to 7. */
export function priorityOf(id: number): number {
  return (id >>> 26) & 7;
}

export interface IdentifierParts {
  readonly priority: number;
  readonly pgn: number;
  readonly source: number;
  /** PDU1 only; everybody when missing. */
  readonly destination?: number;
}

/** Throws RangeError on parts that fit no identifier: a PDU1 group with a low byte, a number too large. */
export function makeId(parts: IdentifierParts): number {
  const { priority, pgn, source } = parts;
  const destination = parts.destination ?? GLOBAL_ADDRESS;
  const pdu1 = (pgn & 0xff00) < 0xf000;
  const fits = (value: number, most: number) => Number.isInteger(value) && value >= 0 && value <= most;
  if (!fits(priority, 7) || !fits(pgn, 0x3ffff) || !fits(source, 255) || !fits(destination, 255)) {
    throw new RangeError(`no identifier has ${JSON.stringify(parts)}`);
  }
  if (pdu1 && (pgn & 0xff) !== 0) throw new RangeError(`PGN ${pgn} is PDU1, its low byte must be 0`);
  return ((priority << 26) | (pgn << 8) | (pdu1 ? destination << 8 : 0) | source) >>> 0;
}
