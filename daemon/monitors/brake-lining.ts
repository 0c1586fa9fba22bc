import { type Judgement, UNTIL_NEXT_MS } from '../alerts/judgement.js';
import { reader } from '../j1939/decode.js';
import type { StreamMs } from '../time.js';
import type { Layout } from '../truck/layout.js';
import type { WheelEndState } from './brake-state.js';
import type { Workbench } from './monitor.js';

/** SPN 1099–1106: front axle, rear axles 1 to 3, each left and right. */
const SPNS = [1099, 1100, 1101, 1102, 1103, 1104, 1105, 1106];
/** Groups that are sent on request may be this old. */
const AGE_MS = 3_600_000;

/** Rule brake-lining-low: what EBC4 says is left of the linings. Axlepost never asks for it; others do. */
export class BrakeLining {
  readonly #rule: Judgement;
  readonly #states: readonly WheelEndState[];
  readonly #readers = SPNS.map(reader);
  /** By field of the group: the wheel end, −1 where the truck has none. */
  readonly #ends: readonly number[];

  constructor(bench: Workbench, rule: Judgement, states: readonly WheelEndState[]) {
    this.#rule = rule;
    this.#states = states;
    this.#ends = endsOf(bench.layout);
    for (const [i, end] of bench.layout.wheelEnds.entries()) rule.add(end.subject, end.place, i);
    rule.fresh = (s, t) => t - states[s.index]!.liningAt <= AGE_MS;
    rule.describe = (s, _, level) => ({
      measured: {
        quantity: 'lining left',
        value: states[s.index]!.lining,
        limit: (rule.limits.find((l) => l.level === level) ?? rule.limits[0]!).raise,
        unit: 'share',
        quality: 'good',
      },
    });
  }

  /** One EBC4. A second sender waits until what the first has said is old. */
  frame(t: StreamMs, source: number, data: Uint8Array, length: number): void {
    if (this.#isIdle(data, length)) return;
    for (let field = 0; field < this.#readers.length; field++) {
      const percent = this.#readers[field]!.read(data, length);
      const i = this.#ends[field]!;
      if (i < 0 || Number.isNaN(percent)) continue;
      const s = this.#states[i]!;
      if (s.liningSource !== source && t - s.liningAt <= AGE_MS) continue;
      s.liningSource = source;
      s.lining = percent / 100;
      s.liningAt = t;
      this.#judge(i, t, s);
    }
  }

  /** Linings wear over months: readings of different days count together. One good reading clears as little as one bad one raises. */
  #judge(i: number, t: StreamMs, s: WheelEndState): void {
    const { limits } = this.#rule;
    s.linings.push(s.lining);
    while (s.linings.length > Math.max(...limits.map(({ m }) => m), 1)) s.linings.shift();
    for (let k = 0; k < limits.length; k++) {
      const { raise, clear, m } = limits[k]!;
      const last = s.linings.slice(-Math.max(m, 1));
      const isBack = last.length >= m && last.every((share) => share >= clear);
      this.#rule.state(i, k, t, UNTIL_NEXT_MS, s.lining <= raise, isBack);
    }
  }

  /** All zero: a sender that has nothing to tell. No truck has worn off every lining to the last. */
  #isIdle(data: Uint8Array, length: number): boolean {
    for (let field = 0; field < this.#readers.length; field++) {
      if (this.#readers[field]!.read(data, length) !== 0) return false;
    }
    return true;
  }
}

/** Front is the first axle; rear axles are those behind it that do not steer. A trailer has no field. */
function endsOf({ wheelEnds, tires }: Layout): number[] {
  const tractor = wheelEnds.flatMap((end, i) => (end.unit === 'tractor' ? [{ ...end, i }] : []));
  const isSteer = (end: (typeof tractor)[number]): boolean => tires[end.tires[0]!]!.axleKind === 'steer';
  const rear = [...new Set(tractor.filter((x) => x.axleIndex > 0 && !isSteer(x)).map((x) => x.axleIndex))];
  const axles = [0, ...rear];
  return SPNS.map((_, field) => {
    const side = field % 2 === 0 ? 'left' : 'right';
    return tractor.find((x) => x.axleIndex === axles[field >> 1] && x.side === side)?.i ?? -1;
  });
}
