import { NEVER, type StreamMs } from '../time.js';

/**
 * The evidence for one limit of one subject. Time between two good readings counts if both meet the limit and lie no
 * further apart than the age limit; after the last reading it counts until the age limit. One good reading that misses
 * sets the clock to zero; bad or missing data stop it; after ten age limits it is zero.
 */
export interface EvidenceState {
  /** Does the limit hold, hysteresis and delays included? */
  up: boolean;
  /** Last good reading that was judged. */
  judgedAt: StreamMs;
  /** Age limit that goes with it, ms. */
  limitMs: number;
  /** Did it meet the raise limit, the clear limit? */
  raising: boolean;
  clearing: boolean;
  /** Counting was stopped by bad data after judgedAt. */
  stopped: boolean;
  /** Evidence collected up to judgedAt, ms. */
  raiseMs: number;
  clearMs: number;
  /** Newest result of the last applications or readings in bit 0, and how many there are. */
  results: number;
  resultCount: number;
}

export const ZERO_AFTER_LIMITS = 10;

/** What a limit asks for. */
export interface EvidenceSpec {
  raiseAfterMs: number;
  clearAfterMs: number;
  /** n of the last m results; n = 0: judged by time. */
  n: number;
  m: number;
  /** With n of m: is it left by time (a clear limit exists) or when none of the last m holds? */
  clearsByTime: boolean;
}

export const newEvidence = (): EvidenceState => ({
  up: false,
  judgedAt: NEVER,
  limitMs: 0,
  raising: false,
  clearing: false,
  stopped: true,
  raiseMs: 0,
  clearMs: 0,
  results: 0,
  resultCount: 0,
});

/** Time after judgedAt that counts at t. */
const counted = (e: EvidenceState, t: StreamMs): number => (e.stopped ? 0 : Math.min(t - e.judgedAt, e.limitMs));

const isTooOld = (e: EvidenceState, t: StreamMs): boolean => t - e.judgedAt > ZERO_AFTER_LIMITS * e.limitMs;

/** A good reading at t; limitMs is its age limit. For n of m it is also one result. */
export function judge(
  e: EvidenceState,
  spec: EvidenceSpec,
  t: StreamMs,
  limitMs: number,
  raising: boolean,
  clearing: boolean,
): void {
  if (e.judgedAt > NEVER && isTooOld(e, t)) forget(e);
  const span = e.judgedAt > NEVER ? counted(e, t) : 0;
  e.raiseMs = raising ? e.raiseMs + (e.raising ? span : 0) : 0;
  e.clearMs = clearing ? e.clearMs + (e.clearing ? span : 0) : 0;
  e.raising = raising;
  e.clearing = clearing;
  e.judgedAt = t;
  e.limitMs = limitMs;
  e.stopped = false;
  if (spec.n > 0) {
    e.results = ((e.results << 1) | (raising ? 1 : 0)) & ((1 << spec.m) - 1);
    if (e.resultCount < spec.m) e.resultCount++;
  }
}

/** Bad data, or a condition of judgement that ended: what was collected stays, nothing more counts. */
export function stop(e: EvidenceState, t: StreamMs): void {
  if (e.stopped) return;
  const span = counted(e, t);
  if (e.raising) e.raiseMs += span;
  if (e.clearing) e.clearMs += span;
  e.stopped = true;
}

/** Evidence back to nothing; whether the limit holds stays as it is. */
export function forget(e: EvidenceState): void {
  e.raiseMs = 0;
  e.clearMs = 0;
  e.raising = false;
  e.clearing = false;
  e.stopped = true;
  e.results = 0;
  e.resultCount = 0;
}

const ones = (bits: number): number => {
  let n = 0;
  for (let b = bits; b !== 0; b &= b - 1) n++;
  return n;
};

/** How many of the last results held. */
export const resultsHolding = (e: EvidenceState): number => ones(e.results);

/** Decides at a tick whether the limit holds. True when that changed. */
export function settle(e: EvidenceState, spec: EvidenceSpec, t: StreamMs): boolean {
  if (e.judgedAt <= NEVER) return false;
  const byCount = spec.n > 0;
  if (isTooOld(e, t) && !byCount) {
    if (e.raising || e.clearing || e.raiseMs > 0 || e.clearMs > 0) forget(e);
    return false;
  }
  if (!e.up) {
    const holds = byCount ? ones(e.results) >= spec.n : e.raising && e.raiseMs + counted(e, t) >= spec.raiseAfterMs;
    if (!holds) return false;
    e.up = true;
    e.clearMs = e.clearing ? -counted(e, t) : 0;
    return true;
  }
  const clear =
    byCount && !spec.clearsByTime
      ? e.resultCount >= spec.m && e.results === 0
      : e.clearing && e.clearMs + counted(e, t) >= spec.clearAfterMs;
  if (!clear) return false;
  e.up = false;
  e.raiseMs = 0;
  e.results = 0;
  return true;
}
