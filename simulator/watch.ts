import type { RuleName, Urgency } from '../config/resolved.js';
import type { ExpectLine, MayLine } from './truth.js';

/** How clearly a condition is there: not at all, so near that nobody can tell, there, beyond doubt. */
export const NO = 0;
export const NEAR = 1;
export const THERE = 2;
export const SURE = 3;
export type Grade = 0 | 1 | 2 | 3;

export interface WatchOptions {
  rule: RuleName;
  subject: string;
  urgency: Urgency;
  /** So long, or so often, beyond doubt: then an alert must have come. */
  need: number;
  of?: 'seconds' | 'occurrences';
  /** Which occurrence is the one that an alert may wait for. */
  nth?: number;
}

/** One condition, followed over the shift. */
export class Watch {
  readonly options: WatchOptions;
  private nearAt = Number.NaN;
  private from = Number.NaN;
  private stretchFrom = Number.NaN;
  private to = Number.NaN;
  private held = 0;
  private longest = 0;
  private count = 0;
  private all = 0;
  private visibleAt = Number.NaN;
  private stretchVisibleAt = Number.NaN;

  constructor(options: WatchOptions) {
    this.options = options;
  }

  /**
   * The condition in the second that ends at t (ms). visible: the truck's senders could tell of it. began: when it really
   * began, where that was before it passed its limit.
   */
  see(t: number, grade: Grade, visible: boolean, began = t): void {
    if (grade === NO) {
      this.stretchFrom = this.stretchVisibleAt = Number.NaN;
      this.held = 0;
      return;
    }
    if (Number.isNaN(this.nearAt)) this.nearAt = Math.min(t, began);
    if (grade < THERE) {
      this.held = 0;
      return;
    }
    if (Number.isNaN(this.stretchFrom)) this.stretchFrom = began;
    if (Number.isNaN(this.from)) this.from = this.stretchFrom;
    if (visible && Number.isNaN(this.stretchVisibleAt)) this.stretchVisibleAt = t;
    if (Number.isNaN(this.visibleAt)) this.visibleAt = this.stretchVisibleAt;
    this.to = t;
    if (grade < SURE) this.held = 0;
    else if (visible) this.held += 1;
    if (this.held <= this.longest) return;
    // Where it came and went, the time that counts is that of the first stretch that was long enough.
    if (this.longest < this.options.need) {
      this.from = this.stretchFrom;
      this.visibleAt = this.stretchVisibleAt;
    }
    this.longest = this.held;
  }

  /** It happened once more at t. A rule may wait for the nth; only those beyond doubt make it sure to come. */
  happened(t: number, sure = true): void {
    if (Number.isNaN(this.nearAt)) this.nearAt = t;
    this.all += 1;
    const nth = this.options.nth ?? 1;
    if (this.all === nth) this.from = t;
    this.to = t;
    if (!sure) return;
    this.count += 1;
    if (this.count === Math.min(nth, this.options.need)) this.visibleAt = t;
    this.longest = Math.max(this.longest, this.count);
  }

  /** What happened before counts no more: a row was broken. */
  broken(): void {
    if (this.count >= this.options.need) return;
    this.count = this.all = this.longest = 0;
    this.from = this.visibleAt = Number.NaN;
  }

  expected(because: string): ExpectLine | null {
    const { rule, subject, urgency, need, of = 'seconds' } = this.options;
    if (Number.isNaN(this.from)) return null;
    const { from, to, longest: held } = this;
    const visibleFrom = Number.isNaN(this.visibleAt) ? null : Math.max(from, this.visibleAt);
    return { expect: rule, subject, urgency, from, visibleFrom, to, held, of, must: held >= need, because };
  }

  allowed(because: string): MayLine | null {
    if (Number.isNaN(this.nearAt)) return null;
    const { rule, subject, urgency } = this.options;
    return { may: rule, subject, urgency, from: this.nearAt, because };
  }
}

/** Grade of a value against a limit it must not reach from above, with so much doubt on either side. */
export function below(value: number, limit: number, doubt: number): Grade {
  if (value > limit + doubt) return NO;
  if (value > limit) return NEAR;
  return value > limit - doubt ? THERE : SURE;
}

export function above(value: number, limit: number, doubt: number): Grade {
  return below(-value, -limit, doubt);
}

/** The clearer, or the less clear, of two. */
export const either = (a: Grade, b: Grade): Grade => (a > b ? a : b);
export const both = (a: Grade, b: Grade): Grade => (a < b ? a : b);
