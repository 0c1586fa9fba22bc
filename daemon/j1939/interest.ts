import { GROUPS } from './signals.js';

export const PGN_DM1 = 65226;
export const PGN_ADDRESS_CLAIM = 60928;
export const PGN_TP_CM = 60416;
export const PGN_TP_DT = 60160;

/** What every truck's program listens to; a truck file's extra signals add their groups. */
export const BASE_PGNS: readonly number[] = [
  ...GROUPS.map((group) => group.pgn),
  PGN_DM1,
  PGN_ADDRESS_CLAIM,
  PGN_TP_CM,
  PGN_TP_DT,
];

/** EDP, DP, PF and PS: all of the identifier that can make a frame interesting. */
const GROUP_BITS = 18;
const EXTENDED_FRAME = 0x80000000;
const REMOTE_FRAME = 0x40000000;

/**
 * The values of EDP, DP, PF, PS that belong to a group: one for PDU2, the 256 destinations of PDU1. Throws RangeError on a
 * number that is no PGN.
 */
export function spanOf(pgn: number): { first: number; count: number } {
  const pdu1 = (pgn & 0xff00) < 0xf000;
  if (!Number.isInteger(pgn) || pgn < 0 || pgn >= 2 ** GROUP_BITS || (pdu1 && (pgn & 0xff) !== 0)) {
    throw new RangeError(`${pgn} is no PGN`);
  }
  return { first: pgn, count: pdu1 ? 256 : 1 };
}

/** 1 at `(id >>> 8) & 0x3ffff` for frames of interest. Throws RangeError on a number that is no PGN. */
export function interestTable(pgns: Iterable<number>): Uint8Array {
  const table = new Uint8Array(2 ** GROUP_BITS);
  for (const pgn of pgns) {
    const { first, count } = spanOf(pgn);
    table.fill(1, first, first + count);
  }
  return table;
}

/** As SocketCAN has it: a frame passes when `received & mask === id & mask`. */
export interface KernelFilter {
  readonly id: number;
  readonly mask: number;
}

/**
 * The same decision as `interestTable`, as filters of 29-bit data frames that overlap nowhere: one for each group, so far
 * below the kernel's limit of 512 with the 64 signals that a truck file may have. Throws RangeError on a number that is
 * no PGN.
 */
export function kernelFilters(pgns: Iterable<number>): KernelFilter[] {
  return [...new Set(pgns)].map((pgn) => {
    const { first, count } = spanOf(pgn);
    const groupMask = (2 ** GROUP_BITS - 1) & ~(count - 1);
    const mask = EXTENDED_FRAME | REMOTE_FRAME | (groupMask << 8);
    return { id: (EXTENDED_FRAME | (first << 8)) >>> 0, mask: mask >>> 0 };
  });
}
