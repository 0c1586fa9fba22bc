import type { StreamMs } from '../time.js';
import { GLOBAL_ADDRESS, NULL_ADDRESS } from './identifier.js';
import { decodeName } from './name.js';

/** Units without an address that are remembered; the oldest makes room. */
export const MAX_WITHOUT_ADDRESS = 64;

/** A holder answers a rival within this time (J1939-81: nobody uses an address sooner after its claim). */
const CONTEST_MS = 250;

export interface Claim {
  sa: number;
  /** NAME as 16 hexadecimal digits. */
  name: string;
  claimedAt: StreamMs;
}

/** Who holds which source address of one bus. Plain data; at most one claim for each of 254 addresses. */
export interface ClaimsState {
  /** Ascending by address. */
  held: Claim[];
  /** NAMEs that could not claim an address, oldest first. */
  without: string[];
  counters: {
    claims: number;
    /** Claims of an address that another NAME held. */
    contested: number;
    cannotClaim: number;
    malformed: number;
  };
}

export function newClaims(): ClaimsState {
  return { held: [], without: [], counters: { claims: 0, contested: 0, cannotClaim: 0, malformed: 0 } };
}

/**
 * Takes an address claim (PGN 60928) into the book. The lower NAME wins a contest. A higher NAME gets the address of a
 * holder that has been silent: if the holder is still there it claims again at once and wins.
 */
export function noteClaim(state: ClaimsState, t: StreamMs, sa: number, data: ArrayLike<number>, length: number): void {
  const name = decodeName(data, length)?.hex;
  if (name === undefined || sa === GLOBAL_ADDRESS) {
    state.counters.malformed++;
    return;
  }
  if (sa === NULL_ADDRESS) {
    state.counters.cannotClaim++;
    forget(state, name);
    state.without.push(name);
    if (state.without.length > MAX_WITHOUT_ADDRESS) state.without.shift();
    return;
  }
  state.counters.claims++;
  const holder = state.held.find((claim) => claim.sa === sa);
  if (holder && holder.name !== name) {
    state.counters.contested++;
    if (name > holder.name && t - holder.claimedAt <= CONTEST_MS) return;
  }
  forget(state, name);
  state.held = state.held.filter((claim) => claim.sa !== sa);
  const after = state.held.findIndex((claim) => claim.sa > sa);
  state.held.splice(after < 0 ? state.held.length : after, 0, { sa, name, claimedAt: t });
}

/** NAME of the unit that holds an address, or null if it never claimed. */
export function holderOf(state: ClaimsState, sa: number): string | null {
  return state.held.find((claim) => claim.sa === sa)?.name ?? null;
}

function forget(state: ClaimsState, name: string): void {
  state.held = state.held.filter((claim) => claim.name !== name);
  state.without = state.without.filter((other) => other !== name);
}
