import type { Level } from '../alerts/judgement.js';
import type { LifeState } from '../effects.js';
import { NEVER, type StreamMs } from '../time.js';

const EVERY_MS = 5 * 60_000;
const AFTER_ALERT_MS = 60_000;
/** How long after a next-stop or pull-over the office gets a reading a minute. */
const ALERT_MS = 15 * 60_000;
const QUALITY_MS = 30_000;

export interface ReportState {
  reportedAt: StreamMs;
  /** Last raise or rise to next-stop or pull-over. */
  alertAt: StreamMs;
  /** Which subjects were fresh in the last report, one character each. */
  quality: string;
}

export const newReports = (): ReportState => ({ reportedAt: NEVER, alertAt: NEVER, quality: '' });

/** When the office gets the values of everything. */
export class Reports {
  readonly #state: ReportState;

  constructor(state: ReportState) {
    this.#state = state;
  }

  /** An alert of this level was raised or got worse. */
  alert(t: StreamMs, level: Level): void {
    if (level >= 2) this.#state.alertAt = t;
  }

  /** Is a report due at this tick? quality is asked only when the time since the last one allows it. */
  isDue(t: StreamMs, life: LifeState, entered: LifeState | null, quality: () => string): boolean {
    const s = this.#state;
    const since = t - s.reportedAt;
    if (entered === 'parked') return this.#take(t, quality());
    if (life !== 'awake') return false;
    if (since >= EVERY_MS) return this.#take(t, quality());
    if (since >= AFTER_ALERT_MS && t - s.alertAt <= ALERT_MS) return this.#take(t, quality());
    if (since < QUALITY_MS || t % QUALITY_MS !== 0) return false;
    const now = quality();
    return now !== s.quality && this.#take(t, now);
  }

  #take(t: StreamMs, quality: string): true {
    this.#state.reportedAt = t;
    this.#state.quality = quality;
    return true;
  }
}
