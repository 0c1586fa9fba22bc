import { type BookState, newBookState } from './alerts/book-state.js';
import type { EvidenceState } from './alerts/evidence.js';
import type { SubjectState } from './alerts/judgement.js';
import type { Decision } from './input.js';
import { type ClaimsState, newClaims } from './j1939/claims.js';
import { newTransportState, type TransportState } from './j1939/transport.js';
import { type AirState, newAir } from './monitors/air.js';
import { type ApplicationState, newApplication } from './monitors/applications.js';
import type { WheelEndState } from './monitors/brake-state.js';
import type { BusErrorsState } from './monitors/bus-off.js';
import { type ColdStartState, newColdStarts } from './monitors/cold-starts.js';
import type { PairState } from './monitors/duals-unequal.js';
import { type FaultsState, newFaults } from './monitors/faults.js';
import { newStrangers, type StrangersState } from './monitors/layout-mismatch.js';
import type { MarkState } from './monitors/marks.js';
import type { SourceState } from './monitors/source-silent.js';
import type { LeakState } from './monitors/tire-losing-air.js';
import type { UnheardState } from './monitors/tire-sensor-silent.js';
import type { TowedState } from './monitors/trailer-not-seen.js';
import { NEVER, type StreamMs, type WallMs } from './time.js';
import { type ContextState, newContextState } from './truck/context.js';
import { type LifeData, newLife } from './truck/life.js';
import { type MinutesState, newMinutes } from './truck/minutes.js';
import { newRecords, type RecordsState } from './truck/records.js';
import { newReports, type ReportState } from './truck/reports.js';
import { newSample, type Sample } from './truck/samples.js';
import type { TireState } from './truck/tires.js';
import { newTrips, type TripState } from './truck/trips.js';
import { type JudgedBy, newJudgedBy } from './what-changed.js';

export interface Counters {
  frames: number;
  errorFrames: number;
  /** Tire frames from a location that the truck file does not have. */
  strangeLocations: number;
  /** Values that a sender marked valid and that no truck can have. */
  implausible: number;
  /** Seams in the stamps of a recording. */
  seams: number;
  /** Decisions of the office that could not be applied: the alert was over, or may not be treated so. */
  decisionsRefused: number;
  /** Frames of senders of tire, brake and air messages that were too many to be watched. */
  sourcesDropped: number;
  /** Records of what happened on the truck that were too many for one second. */
  recordsDropped: number;
}

/** What the office wants. */
export interface OfficeState {
  /** Of the last decision that was applied or refused. */
  rev: number;
  /** Newer ones, in ascending order, that wait for the next tick. */
  decisions: Decision[];
  /** The trailer that is coupled, as the office has said it last; null: never. Goes before the truck file's. */
  trailer: string | null;
}

/** Everything the pipeline knows. Plain data: dictionaries by subject, rule or bus number. */
export interface PipelineState {
  version: 1;
  judgedBy: JudgedBy;
  office: OfficeState;
  /** Wall time at an instant of this run, once its clock is known to be right; at = NEVER: it is not. */
  calendar: { at: StreamMs; wallMs: WallMs };
  /** A rare input waits for the next tick, also while asleep. */
  due: boolean;
  context: ContextState;
  pressures: { application: Sample; demanded: Sample; chamber: Sample };
  tires: Record<string, TireState>;
  leaks: Record<string, LeakState>;
  pairs: Record<string, PairState>;
  coldStarts: ColdStartState;
  unheard: UnheardState;
  strangers: StrangersState;
  /** By unit. */
  towed: Record<string, TowedState>;
  /** By bus name. */
  busErrors: Record<string, BusErrorsState>;
  /** Senders of tire, brake and air messages, by subject. */
  sources: Record<string, SourceState>;
  /** Sensors that were called bad, by subject. */
  marks: Record<string, MarkState>;
  wheelEnds: Record<string, WheelEndState>;
  application: ApplicationState;
  /** SPN 3839: 1 too hot. */
  brakeHeat: Sample;
  air: AirState;
  faults: FaultsState;
  /** By rule, then subject. */
  judgements: Record<string, Record<string, SubjectState>>;
  book: BookState;
  life: LifeData;
  trips: TripState;
  minutes: MinutesState;
  records: RecordsState;
  reports: ReportState;
  /** By bus number. */
  transports: Record<string, TransportState>;
  claims: Record<string, ClaimsState>;
  counters: Counters;
}

export function newPipelineState(buses: number): PipelineState {
  return {
    version: 1,
    judgedBy: newJudgedBy(),
    office: { rev: 0, decisions: [], trailer: null },
    calendar: { at: NEVER, wallMs: 0 },
    due: false,
    context: newContextState(),
    pressures: { application: newSample(1000), demanded: newSample(1000), chamber: newSample(100) },
    tires: {},
    leaks: {},
    pairs: {},
    coldStarts: newColdStarts(),
    unheard: { movingMs: 0 },
    strangers: newStrangers(),
    towed: {},
    busErrors: {},
    sources: {},
    marks: {},
    wheelEnds: {},
    application: newApplication(),
    brakeHeat: newSample(100),
    air: newAir(),
    faults: newFaults(),
    judgements: {},
    book: newBookState(),
    life: newLife(buses),
    trips: newTrips(),
    minutes: newMinutes(),
    records: newRecords(),
    reports: newReports(),
    transports: Object.fromEntries(Array.from({ length: buses }, (_, i) => [String(i), newTransportState()])),
    claims: Object.fromEntries(Array.from({ length: buses }, (_, i) => [String(i), newClaims()])),
    counters: {
      frames: 0,
      errorFrames: 0,
      strangeLocations: 0,
      implausible: 0,
      seams: 0,
      decisionsRefused: 0,
      sourcesDropped: 0,
      recordsDropped: 0,
    },
  };
}

/** All evidence that is being collected: of rules, and of marked sensors that may have changed. */
export function* evidenceOf({ judgements, marks }: PipelineState): Generator<EvidenceState> {
  for (const bySubject of Object.values(judgements)) {
    for (const subject of Object.values(bySubject)) yield* Object.values(subject.limits);
  }
  for (const mark of Object.values(marks)) yield mark.change;
}
