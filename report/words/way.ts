import type { Measured } from '../../daemon/alerts/event.js';

/** What the words of a limit are made of: its numbers, in the units of the truck file. */
export interface Numbers {
  raise: string;
  clear: string;
  /** A constant of the rule. */
  k: (name: string) => string;
  /** A constant times a factor. */
  times: (name: string, factor: number) => string;
  /** Limit as an event of this alert has told it, times a factor; null: none has. */
  told: (factor?: number) => string | null;
}

/** One criterion of a rule in words. */
export interface Way {
  /** SI unit of raise and clear; null: judged by state. */
  unit: string | null;
  raise: (n: Numbers) => string;
  clear: (n: Numbers) => string;
  /** What "n of m" counts, in the singular. */
  counts?: string;
  /** How many good ones in a row end it, where that is not "none of the last m". */
  endsAfter?: 'n' | 'm';
  /** Said behind all of it. */
  note?: (n: Numbers) => string;
  /** The delay in other words; the argument is the time. */
  raiseDelay?: (time: string) => string;
  clearDelay?: (time: string) => string;
  /** A verdict of its own: delays count as passed. */
  isVerdict?: boolean;
  /** Could an event with this measurement tell of it? Left out: any could. */
  fits?: (measured: Measured) => boolean;
  /** Criteria that hold too when this one does. */
  implies?: readonly string[];
  /**
   * Events may tell another limit, which then stands for raise: `instead` with clear as far away as before, `ratio` with clear
   * in proportion; `target`: the limit is a share of the target that the event's limit shows, and both are told.
   */
  limitIs?: 'instead' | 'ratio' | 'target';
}

export type Ways = Record<string, Way>;

type Rest = Partial<Way>;

/** "Share of target at or below 80 %". */
const compared = (where: string, raising: string, clearing: string, unit: string, rest: Rest): Way => ({
  unit,
  raise: ({ raise }) => `${where} ${raising} ${raise}`,
  clear: ({ clear }) => `${clearing} ${clear}`,
  ...rest,
});

/** Compared as `Judgement.value` does: equal to the limit counts. */
export const low = (where: string, unit: string, rest: Rest = {}): Way =>
  compared(where, 'at or below', 'at or above', unit, rest);
export const high = (where: string, unit: string, rest: Rest = {}): Way =>
  compared(where, 'at or above', 'at or below', unit, rest);
/** Equal to the limit is good still. */
export const below = (where: string, unit: string, rest: Rest = {}): Way =>
  compared(where, 'below', 'at or above', unit, rest);
export const above = (where: string, unit: string, rest: Rest = {}): Way =>
  compared(where, 'above', 'at or below', unit, rest);

export const state = (raise: Way['raise'] | string, clear: string, rest: Rest = {}): Way => ({
  unit: null,
  raise: typeof raise === 'string' ? () => raise : raise,
  clear: () => clear,
  ...rest,
});

export const isCode = (m: Measured): boolean => 'code' in m;
export const speaksOf =
  (...words: string[]) =>
  (m: Measured): boolean =>
    'quantity' in m && words.every((word) => m.quantity.includes(word));
