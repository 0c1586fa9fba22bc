import type { Judgement } from '../alerts/judgement.js';
import type { AirMoment } from './air-moment.js';
import type { Workbench } from './monitor.js';

/** Running time is counted in minutes; each is one reading, and the next comes a minute later. s, ms */
const MINUTE_S = 60;
const AGE_MS = 90_000;

export interface OverworkedState {
  /** Seconds of pumping in each of the last minutes of running time, oldest first. */
  minutes: number[];
  /** Of the minute that goes on. */
  runningS: number;
  pumpingS: number;
}

export const newOverworked = (): OverworkedState => ({ minutes: [], runningS: 0, pumpingS: 0 });

/** Rule compressor-overworked: share of the last hour of engine-running time that was spent pumping. */
export class CompressorOverworked {
  readonly #state: OverworkedState;
  readonly #rule: Judgement;
  /** What is judged of a bus is what its truck file says; its default says nothing. */
  readonly #busShare: number;

  constructor(bench: Workbench, rule: Judgement, state: OverworkedState) {
    this.#state = state;
    this.#rule = rule;
    this.#busShare = bench.isBus ? rule.constant('busShare') : 0;
    if (bench.isBus && this.#busShare === 0) return;
    rule.add('air/supply', 'air supply');
    rule.onReset = () => Object.assign(state, newOverworked());
    rule.describe = () => ({
      measured: {
        quantity: 'pumping, of running time',
        value: this.#share(),
        limit: this.#limit().raise,
        unit: 'share',
        quality: 'good',
      },
    });
  }

  tick({ t, engineRunning, pumping }: AirMoment): void {
    const s = this.#state;
    if (engineRunning !== true || pumping === undefined || this.#rule.subjects.length === 0) return;
    s.runningS++;
    if (pumping) s.pumpingS++;
    if (s.runningS < MINUTE_S) return;
    s.minutes.push(s.pumpingS);
    s.runningS = 0;
    s.pumpingS = 0;
    while (s.minutes.length > this.#rule.constant('windowS') / MINUTE_S) s.minutes.shift();
    if (s.minutes.length < this.#rule.constant('minS') / MINUTE_S) return;
    const { raise, clear } = this.#limit();
    const share = this.#share();
    this.#rule.state(0, 0, t, AGE_MS, share >= raise, share <= clear);
  }

  #limit(): { raise: number; clear: number } {
    const { raise, clear } = this.#rule.limits[0]!;
    return this.#busShare === 0 ? { raise, clear } : { raise: this.#busShare, clear: (this.#busShare * clear) / raise };
  }

  #share(): number {
    const { minutes } = this.#state;
    let pumpingS = 0;
    for (const seconds of minutes) pumpingS += seconds;
    return minutes.length === 0 ? 0 : pumpingS / (minutes.length * MINUTE_S);
  }
}
