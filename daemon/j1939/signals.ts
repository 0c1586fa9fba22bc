import type { Group, Signal } from './signal.js';
import { AIR_GROUPS } from './signals-air.js';
import { BRAKE_GROUPS } from './signals-brakes.js';
import { CONTEXT_GROUPS } from './signals-context.js';
import { TIRE_GROUPS } from './signals-tires.js';

export type { Grade, Group, Signal } from './signal.js';

/**
 * Every group and signal the program knows, from open transcriptions of the J1939 digital annex (no paid text was used);
 * each signal's grade says how far they agree.
 */
export const GROUPS: readonly Group[] = [...TIRE_GROUPS, ...BRAKE_GROUPS, ...AIR_GROUPS, ...CONTEXT_GROUPS];

const byPgn = new Map(GROUPS.map((group) => [group.pgn, group]));
const bySpn = new Map(
  GROUPS.flatMap((group) => group.signals.map((signal) => [signal.spn, { signal, group }] as const)),
);

export function groupOf(pgn: number): Group | undefined {
  return byPgn.get(pgn);
}

export function signalOf(spn: number): Signal | undefined {
  return bySpn.get(spn)?.signal;
}

/** The group that carries an SPN; every SPN stands in one group only. */
export function groupOfSpn(spn: number): Group | undefined {
  return bySpn.get(spn)?.group;
}
