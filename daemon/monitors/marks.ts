import type { Mark, RuleName } from '../../config/resolved.js';
import { type EvidenceSpec, type EvidenceState, forget, judge, newEvidence, settle } from '../alerts/evidence.js';
import { UNTIL_NEXT_MS } from '../alerts/judgement.js';
import { type StreamMs, TICK_MS, type WallMs } from '../time.js';
import type { Layout } from '../truck/layout.js';
import type { TickFacts } from './monitor.js';

/** A sensor does something else when it has done so for ten minutes of readings, or ten brake applications: common practice. */
const CHANGE_MS = 10 * 60_000;
const CHANGE_APPLICATIONS = 10;
const BY_TIME: EvidenceSpec = { raiseAfterMs: CHANGE_MS, clearAfterMs: 0, n: 0, m: 0, clearsByTime: true };
const BY_COUNT: EvidenceSpec = { ...BY_TIME, n: CHANGE_APPLICATIONS, m: CHANGE_APPLICATIONS, clearsByTime: false };

/** How far outside of what it has said before a reading is another one: a share of that, at least so much. */
export interface Margin {
  share: number;
  least: number;
}

/** Half of the distance from the target to the first level (88 %) or so, and two steps of a coarse sender. kPa */
export const COLD_MARGIN: Margin = { share: 0.1, least: 16 };
/** A tire without temperature breathes with the weather: 40 K are 16 % of its gauge pressure, from winter to a hot road 25 %. */
export const RAW_MARGIN: Margin = { share: 0.25, least: 16 };
/** The governor's cycle is learned; beyond it a tenth, and what two senders may differ by (24 kPa). */
export const AIR_MARGIN: Margin = { share: 0.1, least: 24 };
/** Stroke states are compared as such, measured strokes to a sixteenth of an inch at least. mm */
export const CODE_MARGIN: Margin = { share: 0, least: 0 };
export const STROKE_MARGIN: Margin = { share: 0.1, least: 1.6 };

/** What is known of one marked sensor. Plain data. */
export interface MarkState {
  who: string;
  untilMs: WallMs;
  /** Its readings have changed: no longer in force. Kept until the mark itself is taken away. */
  isOver: boolean;
  /** Does it say anything good at all? unknown: not seen yet since the mark. */
  does: 'unknown' | 'nothing' | 'speak';
  /** Time in which it should have spoken and did not, while unknown, ms. */
  silentMs: number;
  /** What it has said in the first ten minutes (applications); valid once it has said anything. */
  hasRange: boolean;
  isLearned: boolean;
  low: number;
  high: number;
  /** While learning: how long it has; then: for how long it has done something else. */
  change: EvidenceState;
}

const newMark = ({ who, untilMs }: Mark, isSilent: boolean): MarkState => ({
  who,
  untilMs,
  isOver: false,
  does: isSilent ? 'nothing' : 'unknown',
  silentMs: 0,
  hasRange: false,
  isLearned: false,
  low: 0,
  high: 0,
  change: newEvidence(),
});

/** Pressures of the air system that can be marked. */
const AIR_SENSORS: readonly string[] = ['air/service', 'air/primary', 'air/secondary', 'air/supply', 'air/parking'];
const CIRCUITS: readonly string[] = ['air/primary', 'air/secondary'];
/** What is judged of the air system: with a circuit marked the rules go on with the other one. */
const AIR_SUBJECTS: readonly string[] = ['air/service', 'air/supply'];
/** Rules on the service air that compare both circuits; air-low goes on with the other one. */
const NEEDS_BOTH: readonly (RuleName | null)[] = ['circuits-unequal'];

const isSensor = (layout: Layout, subject: string): boolean =>
  AIR_SENSORS.includes(subject) || [...layout.tires, ...layout.wheelEnds].some((x) => x.subject === subject);

/** The two wheel ends of one axle, which brake-stroke-uneven compares. */
function isAcross({ wheelEnds }: Layout, sensor: string, subject: string): boolean {
  const [a, b] = [sensor, subject].map((name) => wheelEnds.find((end) => end.subject === name));
  return a !== undefined && a.unit === b?.unit && a.axleIndex === b.axleIndex;
}

/** Is the rule on `subject` not judged while the sensor is marked? A dual pair needs both of its tires, uneven strokes both sides. */
export function needs(layout: Layout, sensor: string, rule: RuleName | null, subject: string): boolean {
  if (subject === sensor) return true;
  if (rule === 'brake-stroke-uneven') return isAcross(layout, sensor, subject);
  if (CIRCUITS.includes(sensor)) return subject === 'air/service' && NEEDS_BOTH.includes(rule);
  const tire = layout.tires.find((x) => x.subject === sensor);
  return tire !== undefined && layout.pairs[tire.pair]?.subject === subject;
}

/** Is the rule on `subject` judged anew when a mark of the sensor begins or ends? Also where the rest goes on without it. */
export const touches = (layout: Layout, sensor: string, rule: RuleName | null, subject: string): boolean =>
  needs(layout, sensor, rule, subject) || (CIRCUITS.includes(sensor) && AIR_SUBJECTS.includes(subject));

/**
 * Brings the state in line with the marks of a configuration; gives the sensors whose rules begin or cease to be judged.
 * A mark on what the layout has not is ignored; of two on one sensor the one that ends last counts. The same sensor marked
 * anew keeps what was learned of it, unless its mark was over.
 * @param isSilent has the sensor said nothing good lately?
 */
export function updateMarks(
  states: Record<string, MarkState>,
  marks: readonly Mark[],
  layout: Layout,
  isSilent: (sensor: string) => boolean,
): { begun: string[]; ended: string[] } {
  const wanted = new Map<string, Mark>();
  for (const mark of [...marks].sort((a, b) => a.untilMs - b.untilMs)) {
    if (isSensor(layout, mark.subject)) wanted.set(mark.subject, mark);
  }
  const ended: string[] = [];
  for (const [sensor, state] of Object.entries(states)) {
    if (wanted.has(sensor)) continue;
    if (!state.isOver) ended.push(sensor);
    delete states[sensor];
  }
  const begun: string[] = [];
  for (const [sensor, mark] of wanted) {
    const state = states[sensor];
    const isSame = state?.who === mark.who && state.untilMs === mark.untilMs;
    if (state !== undefined && !state.isOver) Object.assign(state, { who: mark.who, untilMs: mark.untilMs });
    else if (!isSame) {
      states[sensor] = newMark(mark, isSilent(sensor));
      begun.push(sensor);
    }
  }
  return { begun, ended };
}

/** By subject. */
export const marksInForce = (states: Readonly<Record<string, MarkState>>): Mark[] =>
  Object.entries(states)
    .filter(([, m]) => !m.isOver)
    .map(([subject, { who, untilMs }]) => ({ subject, what: 'sensor-bad' as const, who, untilMs }))
    .sort((a, b) => (a.subject < b.subject ? -1 : 1));

/**
 * Sensors that somebody has called bad. While a mark is in force the rules that need the sensor are not judged
 * (`Judgement` takes no evidence), and it counts for nobody else: no peer, no share, not healthy and not ill.
 *
 * A mark ends with the configuration that has it no more, or by itself when the sensor does something else than it did
 * for ten minutes of readings: it speaks where it was silent or sent errors, or it says what lies outside of all that it
 * said in the first ten minutes after the mark. Silence is never a change: a sensor that dies was bad before. What it says is the
 * cold-equivalent pressure of a tire (without temperature the pressure, with more room), the worst stroke state or the greatest
 * stroke of a brake application, the pressure of a charged air circuit with the engine running. Such a mark is listed no more.
 */
export class Marks {
  readonly #states: Record<string, MarkState>;
  readonly #layout: Layout;

  constructor(layout: Layout, states: Record<string, MarkState>) {
    this.#layout = layout;
    this.#states = states;
  }

  isMarked(sensor: string): boolean {
    return this.#states[sensor]?.isOver === false;
  }

  /** May the rule be judged on the subject? */
  judges(rule: RuleName, subject: string): boolean {
    for (const sensor in this.#states) {
      if (this.isMarked(sensor) && needs(this.#layout, sensor, rule, subject)) return false;
    }
    return true;
  }

  /** Marks in force, by subject. */
  get inForce(): Mark[] {
    return marksInForce(this.#states);
  }

  /** A good reading of a marked sensor. value NaN: it speaks, but what it says is told by application. */
  reading(sensor: string, t: StreamMs, ageMs: number, value: number, margin: Margin): void {
    const m = this.#states[sensor]!;
    if (m.does === 'nothing') {
      judge(m.change, BY_TIME, t, ageMs, true, false);
      return;
    }
    m.does = 'speak';
    if (!Number.isNaN(value)) compare(m, BY_TIME, t, ageMs, value, margin);
  }

  /** What a marked brake has said in one application. */
  application(sensor: string, t: StreamMs, value: number, margin: Margin): void {
    const m = this.#states[sensor]!;
    if (m.does !== 'nothing') compare(m, BY_COUNT, t, UNTIL_NEXT_MS, value, margin);
  }

  /** True when a mark ends at this tick. */
  tick({ t, moving, engineRunning }: TickFacts): string[] {
    const over: string[] = [];
    for (const sensor in this.#states) {
      const m = this.#states[sensor]!;
      if (m.isOver) continue;
      const isBrake = this.#layout.wheelEnds.some((end) => end.subject === sensor);
      const isTire = !isBrake && !AIR_SENSORS.includes(sensor);
      if (m.does === 'unknown' && (isTire ? moving : engineRunning)) {
        m.silentMs += TICK_MS;
        if (m.silentMs >= CHANGE_MS) m.does = 'nothing';
      }
      if (m.does === 'speak' && !m.isLearned) continue;
      if (!settle(m.change, m.does === 'speak' && isBrake ? BY_COUNT : BY_TIME, t)) continue;
      m.isOver = true;
      over.push(sensor);
    }
    return over;
  }
}

/** Learns what the sensor says, and then counts how long it says something else. */
function compare(m: MarkState, spec: EvidenceSpec, t: StreamMs, ageMs: number, value: number, margin: Margin): void {
  if (m.isLearned) {
    const below = m.low - Math.max(margin.least, margin.share * m.low);
    const above = m.high + Math.max(margin.least, margin.share * m.high);
    judge(m.change, spec, t, ageMs, value < below || value > above, false);
    return;
  }
  m.low = m.hasRange ? Math.min(m.low, value) : value;
  m.high = m.hasRange ? Math.max(m.high, value) : value;
  m.hasRange = true;
  judge(m.change, spec, t, ageMs, true, false);
  m.isLearned = spec.n > 0 ? m.change.resultCount >= spec.m : m.change.raiseMs >= spec.raiseAfterMs;
  if (m.isLearned) forget(m.change);
}
