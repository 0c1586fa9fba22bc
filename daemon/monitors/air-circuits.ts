import { NEVER, type StreamMs } from '../time.js';
import { ageLimit, isFresh, newSample, type Sample } from '../truck/samples.js';
import type { Marks } from './marks.js';

/** SPN 117/118 and 1087/1088 that differ by more than this for this long are both disputed. kPa, ms */
const DISPUTE_KPA = 24;
const DISPUTE_MS = 10_000;
/** Steps of SPN 117/118 and of SPN 1087/1088, kPa. An extra signal counts as the finer one. */
const FINE_STEP_KPA = 4;
const COARSE_STEP_KPA = 8;

export interface CircuitsState {
  /** Service circuits in kPa: SPN 117/118 in 4 kPa steps, SPN 1087/1088 in 8 kPa steps. */
  primaryFine: Sample;
  secondaryFine: Sample;
  primaryCoarse: Sample;
  secondaryCoarse: Sample;
  /** SPN 46, 1086 and 1090. */
  supply: Sample;
  parking: Sample;
  suspension: Sample;
  /** Since when the two senders have differed; NEVER: they agree. */
  primaryDisputedAt: StreamMs;
  secondaryDisputedAt: StreamMs;
}

export const newCircuits = (): CircuitsState => ({
  primaryFine: newSample(1000),
  secondaryFine: newSample(1000),
  primaryCoarse: newSample(1000),
  secondaryCoarse: newSample(1000),
  supply: newSample(1000),
  parking: newSample(1000),
  suspension: newSample(1000),
  primaryDisputedAt: NEVER,
  secondaryDisputedAt: NEVER,
});

export type CircuitName = 'primary' | 'secondary';

/** One service circuit as it is judged. */
export interface Circuit {
  kpa: number;
  /** When its sender told it. */
  at: StreamMs;
  /** What its sender can tell apart. */
  stepKpa: number;
  /** The two senders differ now; have done so for long. */
  differs: boolean;
  disputed: boolean;
  ageMs: number;
}

/** The finer sender where it is fresh, else the coarser; disputed: the lower of the two. null: neither is. */
export function circuitAt(s: CircuitsState, name: CircuitName, t: StreamMs): Circuit | null {
  const fine = name === 'primary' ? s.primaryFine : s.secondaryFine;
  const coarse = name === 'primary' ? s.primaryCoarse : s.secondaryCoarse;
  const since = name === 'primary' ? s.primaryDisputedAt : s.secondaryDisputedAt;
  if (isFresh(fine, t)) {
    const differs = since > NEVER;
    const disputed = differs && t - since >= DISPUTE_MS;
    const kpa = disputed ? Math.min(fine.value, coarse.value) : fine.value;
    return { kpa, at: fine.at, stepKpa: FINE_STEP_KPA, differs, disputed, ageMs: ageLimit(fine) };
  }
  if (!isFresh(coarse, t)) return null;
  const { value: kpa, at } = coarse;
  return { kpa, at, stepKpa: COARSE_STEP_KPA, differs: false, disputed: false, ageMs: ageLimit(coarse) };
}

/** The two service circuits, out of up to four senders, and what else tells a pressure of the air system. */
export class Circuits {
  readonly #state: CircuitsState;
  readonly #marks: Marks;

  constructor(state: CircuitsState, marks: Marks) {
    this.#state = state;
    this.#marks = marks;
  }

  /** Called after a frame that carries service pressures. */
  update(t: StreamMs): void {
    const s = this.#state;
    s.primaryDisputedAt = disputedSince(s.primaryFine, s.primaryCoarse, s.primaryDisputedAt, t);
    s.secondaryDisputedAt = disputedSince(s.secondaryFine, s.secondaryCoarse, s.secondaryDisputedAt, t);
  }

  circuit(name: CircuitName, t: StreamMs): Circuit | null {
    return circuitAt(this.#state, name, t);
  }

  /** The circuit, unless its sensor was called bad. */
  judged(name: CircuitName, t: StreamMs): Circuit | null {
    return this.#marks.isMarked(`air/${name}`) ? null : this.circuit(name, t);
  }

  /** Supply pressure (SPN 46), unless its sensor was called bad; NaN: not known. */
  supply(t: StreamMs): number {
    const { supply } = this.#state;
    return isFresh(supply, t) && !this.#marks.isMarked('air/supply') ? supply.value : Number.NaN;
  }

  /** Mean of the service circuits that are known, kPa; NaN: none is. */
  mean(t: StreamMs): number {
    const primary = this.circuit('primary', t)?.kpa;
    const secondary = this.circuit('secondary', t)?.kpa;
    return ((primary ?? secondary ?? Number.NaN) + (secondary ?? primary ?? Number.NaN)) / 2;
  }

  /** Every circuit that this truck has ever told is heard, but for a marked one: a circuit that fell silent is no good news. */
  isWhole(t: StreamMs): boolean {
    const { primaryFine, primaryCoarse, secondaryFine, secondaryCoarse } = this.#state;
    const isMissing = (name: CircuitName, fine: Sample, coarse: Sample): boolean =>
      (fine.source >= 0 || coarse.source >= 0) &&
      this.circuit(name, t) === null &&
      !this.#marks.isMarked(`air/${name}`);
    return !isMissing('primary', primaryFine, primaryCoarse) && !isMissing('secondary', secondaryFine, secondaryCoarse);
  }
}

function disputedSince(fine: Sample, coarse: Sample, since: StreamMs, t: StreamMs): StreamMs {
  if (!isFresh(fine, t) || !isFresh(coarse, t)) return NEVER;
  if (Math.abs(fine.value - coarse.value) <= DISPUTE_KPA) return NEVER;
  return since === NEVER ? t : since;
}
