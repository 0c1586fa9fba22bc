import type { Urgency } from '../../../config/resolved.js';
import { type Case, type Groups, openCounts } from './groups.js';

/** What was seen by whom reads this page: kept in the browser, so that unread marks survive a reload. */

/** Marks that are kept; of more the oldest go. */
export const MOST_MARKS = 500;

/** An alert that gets worse is news again. */
export const markOf = ({ alert }: Case): string => `${alert.id} ${alert.urgency}`;

/** One that got better is no news. */
const has = (marks: ReadonlySet<string>, one: Case): boolean =>
  marks.has(markOf(one)) || (one.alert.urgency === 'next-stop' && marks.has(`${one.alert.id} pull-over`));

/** Only these are announced and marked: what is planned can wait to be found. */
export const isNewsworthy = ({ alert }: Case): boolean => alert.urgency !== 'plan' && alert.kind === 'equipment';

/** Newest last, each once. */
export function withMarks(marks: readonly string[], added: readonly string[]): string[] {
  const fresh = new Set(added);
  return [...marks.filter((mark) => !fresh.has(mark)), ...fresh].slice(-MOST_MARKS);
}

/** What was stored, as far as it is what we store. */
export function readMarks(stored: string | null): string[] {
  try {
    const parsed: unknown = JSON.parse(stored ?? '[]');
    return Array.isArray(parsed) ? parsed.filter((mark) => typeof mark === 'string').slice(-MOST_MARKS) : [];
  } catch {
    return [];
  }
}

export const unread = (groups: Groups, marks: ReadonlySet<string>): Case[] =>
  groups.undecided.filter((one) => isNewsworthy(one) && !has(marks, one));

/** To be said and notified; `isAgain`: it was before, and nobody took it in time. */
export interface Announced {
  one: Case;
  isAgain: boolean;
}

/** @param told what stood there when it was last asked @returns what is new since, and what stands there now */
export function announcements(groups: Groups, told: ReadonlySet<string>): { fresh: Announced[]; told: Set<string> } {
  const open = groups.undecided.filter(isNewsworthy);
  const fresh = open.flatMap((one): Announced[] => {
    if (!has(told, one)) return [{ one, isAgain: false }];
    return one.alert.isUntaken && !told.has(untakenMark(one)) ? [{ one, isAgain: true }] : [];
  });
  return {
    fresh,
    told: new Set(open.flatMap((one) => (one.alert.isUntaken ? [markOf(one), untakenMark(one)] : [markOf(one)]))),
  };
}

const untakenMark = (one: Case): string => `${markOf(one)} untaken`;

/** Of the window: what needs somebody now. */
export function titleOf(groups: Groups | null, isLive: boolean): string {
  const name = 'Axlepost board';
  if (groups === null) return name;
  const counts = openCounts(groups);
  const urgent = counts['pull-over'] + counts['next-stop'];
  const head =
    urgent === 0
      ? name
      : `(${urgent}) ${counts['pull-over'] > 0 ? `${counts['pull-over']} pull over` : 'next stop'} · ${name}`;
  return isLive ? head : `Not live · ${head}`;
}

/** A pull-over sounds again so often until somebody takes it. */
export const SOUND_AGAIN_MS = 30_000;

export interface Sounded {
  /** By mark: what has sounded, and when it did last. */
  pullOverMs: number;
  marks: ReadonlySet<string>;
}

/**
 * Is it time to sound? A pull-over does at once and again until somebody takes it; what was called untaken does once more.
 * @returns what has sounded then, and null where nothing is to sound
 */
export function soundDue(groups: Groups, before: Sounded, nowMs: number): Sounded | null {
  const keys = groups.undecided.filter(isNewsworthy).flatMap((one) => keysOf(one));
  const fresh = keys.filter((key) => !before.marks.has(key));
  const again =
    groups.undecided.some(({ alert }) => alert.urgency === 'pull-over') && nowMs - before.pullOverMs >= SOUND_AGAIN_MS;
  if (fresh.length === 0 && !again) return null;
  return { pullOverMs: nowMs, marks: new Set(keys) };
}

const soundsFor: Record<Urgency, boolean> = { 'pull-over': true, 'next-stop': false, plan: false };

function keysOf(one: Case): string[] {
  const keys = soundsFor[one.alert.urgency] ? [markOf(one)] : [];
  return one.alert.isUntaken ? [...keys, untakenMark(one)] : keys;
}
