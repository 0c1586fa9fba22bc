import { readExpected } from './expect.js';
import { type Comparison, compareEvents, isSame } from './expect-compare.js';
import { writeExpected } from './expect-verdict.js';
import { lineOf } from './failure.js';
import type { Shift } from './shifts-find.js';
import type { Ran } from './shifts-run.js';

/** In the order in which they are counted. */
export const STATES = ['same', 'blessed', 'differs', 'new', 'broken'] as const;
/**
 * same: as expected; blessed: what came is expected from now on; differs: not as expected; new: nothing is expected yet;
 * broken: could not be run, or not be compared.
 */
export type State = (typeof STATES)[number];

export interface Judged {
  shift: Shift;
  state: State;
  /** What came against what was expected; null where nothing was, or nothing came. */
  compared: Comparison | null;
  /** How many events came; null: it could not be run. */
  events: number | null;
  /** Why it is broken, else null; may have several lines. */
  problem: string | null;
  warnings: readonly string[];
  /** Its report was written. */
  reported: boolean;
  seconds: number;
}

/** Compares what came of a shift with what was expected, and where it is to be blessed writes it. */
export function judge(shift: Shift, ran: Ran, { strict, bless }: { strict: boolean; bless: boolean }): Judged {
  const { warnings, reported, seconds } = ran;
  const base = { shift, compared: null, events: null, problem: null, warnings, reported, seconds };
  const broken = (problem: string): Judged => ({ ...base, state: 'broken', problem });
  if (ran.failure !== null) return broken(ran.failure);
  if (!ran.whole) return broken('not every log could be read to its end');
  try {
    const wanted = readExpected(shift.events, true);
    const compared = wanted === null ? null : compareEvents(wanted, ran.events);
    const judged = { ...base, compared, events: ran.events.length };
    if (compared !== null && isSame(compared.counts, strict || bless)) return { ...judged, state: 'same' };
    if (!bless) return { ...judged, state: compared === null ? 'new' : 'differs' };
    writeExpected(shift.events, ran.events);
    return { ...judged, state: 'blessed' };
  } catch (error) {
    return broken(lineOf(error));
  }
}

/** A shift that there was no need to run, as it cannot be. */
export const notRun = (shift: Shift, problem: string): Judged => ({
  ...{ shift, state: 'broken', compared: null, events: null, problem, warnings: [] },
  ...{ reported: false, seconds: 0 },
});
