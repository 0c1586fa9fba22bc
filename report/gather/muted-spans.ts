import type { OpenDraft } from '../../daemon/alerts/event.js';
import type { StreamMs } from '../../daemon/time.js';
import type { GatheredMuted } from '../gathered.js';

/** Lists of muted findings, as they change, into spans. */
export class MutedSpans {
  readonly #open = new Map<string, GatheredMuted>();

  /** The list from t on. Gives the spans that end with it. */
  update(t: StreamMs, list: OpenDraft['muted']): GatheredMuted[] {
    const keys = new Set<string>();
    for (const finding of list) {
      const { rule, subject, urgency, by } = finding;
      const key = `${rule} ${subject} ${urgency} ${by}`;
      keys.add(key);
      if (!this.#open.has(key)) this.#open.set(key, { fromMs: t, toMs: t, rule, subject, urgency, by });
    }
    const ended: GatheredMuted[] = [];
    for (const [key, span] of this.#open) {
      if (keys.has(key)) continue;
      this.#open.delete(key);
      if (t > span.fromMs) ended.push({ ...span, toMs: t });
    }
    return ended;
  }
}
