import type { RuleName } from '../../config/resolved.js';
import { NEVER, type StreamMs } from '../time.js';
import type { CloseReason } from './event.js';
import type { Level } from './judgement.js';

/** One continuing problem: rule + subject. Plain data. */
export interface AlertState {
  /** Counted from 1 in the life of the store. */
  ordinal: number;
  rule: RuleName;
  subject: string;
  place: string;
  open: boolean;
  /** What was announced last, and the worst that ever was. */
  level: Level;
  worst: Level;
  raisedAt: StreamMs;
  /** NEVER while open. */
  endedAt: StreamMs;
  closed: CloseReason | '';
  /** Asked for: the next tick closes it. */
  closing: CloseReason | '';
  unsure: boolean;
  unsureAt: StreamMs;
  /** Since when its data have been past their age limit while expected; NEVER: they are not. */
  staleAt: StreamMs;
  chatter: ChatterState;
  /** Taken up after a restart and not judged since. */
  restored: boolean;
  /** Who has taken it; '' nobody. Kept when it clears: what comes back is the same alert. */
  takenBy: string;
  takenAt: StreamMs;
  /** Who has put it off, and until when; '' and NEVER: nobody. */
  snoozedBy: string;
  snoozeEndsAt: StreamMs;
}

export interface ChatterState {
  on: boolean;
  /** The level that really held at the last tick, announced or not. */
  trueLevel: Level;
  /** It has fallen since the last rise. */
  fell: boolean;
  reversalsAt: StreamMs[];
  /** Time with data and without a reversal while on, ms. */
  calmMs: number;
}

export const newAlert = (ordinal: number, rule: RuleName, subject: string, place: string, t: StreamMs): AlertState => ({
  ordinal,
  rule,
  subject,
  place,
  open: true,
  level: 0,
  worst: 0,
  raisedAt: t,
  endedAt: NEVER,
  closed: '',
  closing: '',
  unsure: false,
  unsureAt: NEVER,
  staleAt: NEVER,
  chatter: { on: false, trueLevel: 0, fell: false, reversalsAt: [], calmMs: 0 },
  restored: false,
  takenBy: '',
  takenAt: NEVER,
  snoozedBy: '',
  snoozeEndsAt: NEVER,
});

/** Alerts of an earlier version get what one has today. */
export function complete(alerts: Record<string, AlertState>): void {
  for (const [key, a] of Object.entries(alerts)) {
    alerts[key] = { ...newAlert(0, a.rule, a.subject, a.place, NEVER), ...a };
  }
}

/** A snooze that ends because the alert got worse or ended has no event of its own: that change tells it. */
export function endSnooze(a: AlertState): void {
  a.snoozedBy = '';
  a.snoozeEndsAt = NEVER;
}

/** Another level is announced. */
export function reach(a: AlertState, level: Level): void {
  if (level > a.level) endSnooze(a);
  a.level = level;
  if (level > a.worst) a.worst = level;
}

/** Cleared (reason '') or closed. */
export function end(a: AlertState, t: StreamMs, reason: CloseReason | ''): void {
  a.open = false;
  a.endedAt = t;
  a.closed = reason;
  endSnooze(a);
}

/** Data must have been past their age limit for this long before an alert becomes unsure. */
const UNSURE_MS = 60_000;

/** Have its data been missed for so long that nobody knows? isStale: they are past their age limit and expected. */
export function isMissed(a: AlertState, t: StreamMs, isStale: boolean): boolean {
  if (!isStale) a.staleAt = NEVER;
  else if (a.staleAt === NEVER) a.staleAt = t;
  return isStale && t - a.staleAt >= UNSURE_MS;
}

/** A cleared alert that comes back within this time is the same alert. */
export const REOPEN_MS = 15 * 60_000;
/** Ended alerts are forgotten after the longest time over which chattering is counted. */
export const FORGET_MS = 30 * 60_000;

const SHORT = { reversals: 3, ms: 60_000 };
const LONG = { reversals: 6, ms: FORGET_MS };
export const CALM_MS = 10 * 60_000;

/**
 * Follows the level that really holds. A reversal is a fall or a clear followed by a rise (L-13: three active/clear
 * changes in a minute are chattering). True when chattering begins at this tick.
 */
export function followReversals(c: ChatterState, t: StreamMs, level: Level): boolean {
  if (level < c.trueLevel) c.fell = true;
  let begins = false;
  if (level > c.trueLevel && c.fell) {
    c.fell = false;
    c.calmMs = 0;
    c.reversalsAt.push(t);
    while (c.reversalsAt.length > 0 && t - c.reversalsAt[0]! > LONG.ms) c.reversalsAt.shift();
    if (c.reversalsAt.length > 2 * LONG.reversals) c.reversalsAt.shift();
    const shortly = c.reversalsAt.filter((at) => t - at <= SHORT.ms).length;
    begins = !c.on && (shortly >= SHORT.reversals || c.reversalsAt.length >= LONG.reversals);
    if (begins) c.on = true;
  }
  c.trueLevel = level;
  return begins;
}
