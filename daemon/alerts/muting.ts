import type { RuleName } from '../../config/resolved.js';
import type { StreamMs } from '../time.js';
import type { AlertState } from './alert.js';
import type { OpenDraft } from './event.js';
import { type Judgement, type Level, type Subject, urgencyOf } from './judgement.js';
import { MUTES, type MuteRow, related } from './relations.js';

/** What holds at the end of a mute is announced after this much longer. */
const AFTER_MUTE_MS = 30_000;

/** A finding that was muted lately. Plain data. */
export interface MutedFinding {
  /** Last tick at which it was. */
  mutedAt: StreamMs;
  /** The worst level that the mute reached; what is worse was never withheld. */
  upTo: Level;
}

/** Which findings are withheld because of another. Worked out at each tick from what holds then, never latched. */
export class Muting {
  /** Findings muted at this tick that are not announced. */
  list: OpenDraft['muted'] = [];
  readonly #findings: Record<string, MutedFinding>;
  readonly #alerts: Record<string, AlertState>;
  readonly #byRule: ReadonlyMap<RuleName, Judgement>;

  /** findings, alerts: by "rule subject"; they stay part of the pipeline's state. */
  constructor(
    findings: Record<string, MutedFinding>,
    alerts: Record<string, AlertState>,
    byRule: ReadonlyMap<RuleName, Judgement>,
  ) {
    this.#findings = findings;
    this.#alerts = alerts;
    this.#byRule = byRule;
  }

  /** A tick begins. */
  begin(t: StreamMs): void {
    this.list = [];
    for (const [key, finding] of Object.entries(this.#findings)) {
      if (t - finding.mutedAt >= AFTER_MUTE_MS) delete this.#findings[key];
    }
  }

  /** The row that mutes a finding of this level now; null: none. */
  rowOf(j: Judgement, s: Subject, level: Level, cranking: boolean): MuteRow | null {
    for (const row of MUTES) {
      if (row.mutes !== j.rule.name || level > row.upTo) continue;
      if (row.when === 'cranking' ? cranking : this.#holds(row, row.when, j, s)) return row;
    }
    return null;
  }

  /** Is the finding withheld, now or because it was muted within the last 30 s? announced: the level of its open alert. */
  withholds(row: MuteRow | null, s: Subject, rule: RuleName, t: StreamMs, level: Level, announced: Level): boolean {
    if (row === null || level === 0) {
      const lately = this.#findings[s.key];
      return lately !== undefined && level <= lately.upTo;
    }
    this.#findings[s.key] = { mutedAt: t, upTo: row.upTo };
    // The list names rules; the starter is none, and what it mutes is air.
    const by = row.when === 'cranking' ? 'air-low' : row.when;
    if (level > announced) this.list.push({ rule, subject: s.name, urgency: urgencyOf(level), by });
    return true;
  }

  #holds(row: MuteRow, cause: RuleName, muted: Judgement, s: Subject): boolean {
    const j = this.#byRule.get(cause);
    if (j === undefined || j.subjects.length === 0) return false;
    const subject = row.scope === 'only-source' ? muted.sourceOf(s) : s.name;
    for (const c of j.subjects) {
      if (related(row.scope, c.name, subject) && this.#present(j, c) >= row.least) return true;
    }
    return false;
  }

  /** The level that holds now. A restored alert that was not judged yet holds as it was. */
  #present(j: Judgement, s: Subject): Level {
    const level = j.level(s);
    const a = this.#alerts[s.key];
    return a?.restored && a.level > level ? a.level : level;
  }
}
