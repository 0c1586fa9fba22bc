import type { StreamMs } from '../time.js';
import type { StartCheck } from './start-check.js';

/** Things that happened on the truck and are kept as records of their own. docs/database.md has the table of their values. */
export const RECORD_KINDS = ['brake-application', 'air-test', 'air-cycle', 'start-check'] as const;
export type RecordKind = (typeof RECORD_KINDS)[number];

/** One brake application. Pressures are lower bounds where they come once a second. */
export interface BrakeApplicationValues {
  durationS: number;
  peakKpa: number | null;
  meanKpa: number | null;
  startKmh: number | null;
  endKmh: number | null;
  /** What set begin and end. */
  from: 'pressure' | 'pedal' | 'switch';
  /** Hard or long enough to judge brakes by. */
  qualifying: boolean;
  /** Wheel ends that told anything in it: worst state of BSA (0 to 3), greatest stroke. */
  wheels: Record<string, { code: number | null; strokeMm: number | null }>;
  /** Fall of the service circuits (mean of those known) from the last second before it to its end; null also while pumping. */
  airUsedKpa: number | null;
}

/** One leak test: a piece of time in which nothing but a leak changes a circuit. */
export interface AirTestValues {
  state: 'released' | 'applied';
  /** Subject, e.g. air/primary. */
  circuit: string;
  seconds: number;
  fallKpa: number;
  kpaPerMin: number;
  /** Rates of its three thirds, kPa/min, in order. */
  thirds: number[];
  /** How many units were coupled, as the limit counts them. */
  units: number;
  /** Limit of level plan that holds for it, kPa/min. */
  limit: number;
}

/** One cycle of the compressor: from where it began to pump to where it ceased. */
export interface AirCycleValues {
  /** Cut-in of the governor; null: something else made it begin (start of the engine, air that was used). */
  cutInKpa: number | null;
  /** Cut-out of the governor; null: the engine was stopped first, or air was used at the end. */
  cutOutKpa: number | null;
  pumpingS: number;
  revolutionsPer100Kpa: number | null;
}

export interface RecordValues {
  'brake-application': BrakeApplicationValues;
  'air-test': AirTestValues;
  'air-cycle': AirCycleValues;
  'start-check': StartCheck;
}

/** startAt and endAt: stream time. `values` is plain JSON in SI units; its keys never end in "At", which would mean an instant. */
export interface RecordOf<K extends RecordKind> {
  kind: K;
  subject: string;
  startAt: StreamMs;
  endAt: StreamMs;
  values: RecordValues[K];
}
export type TruckRecord = { [K in RecordKind]: RecordOf<K> }[RecordKind];

/** A combination has some forty wheel ends and circuits, and hardly two of them end something in the same second. */
export const MOST_PER_TICK = 64;

export interface RecordsState {
  /** Since the last tick, oldest first. */
  pending: TruckRecord[];
}

export const newRecords = (): RecordsState => ({ pending: [] });

/** Collects what happened between two ticks; `listen` hears of each at once. */
export class Records {
  listen: (record: TruckRecord) => void = () => {};
  readonly #state: RecordsState;
  readonly #counters: { recordsDropped: number };

  constructor(state: RecordsState, counters: { recordsDropped: number }) {
    this.#state = state;
    this.#counters = counters;
  }

  add(record: TruckRecord): void {
    this.listen(record);
    if (this.#state.pending.length < MOST_PER_TICK) this.#state.pending.push(record);
    else this.#counters.recordsDropped++;
  }

  /** All since the last call. */
  take(): TruckRecord[] {
    const { pending } = this.#state;
    if (pending.length === 0) return [];
    this.#state.pending = [];
    return pending;
  }
}
