import type { Mark } from '../../config/resolved.js';
import type { StreamMs } from '../time.js';
import type { Context } from './context.js';
import type { Layout } from './layout.js';
import type { Records } from './records.js';
import type { Tires } from './tires.js';

/** What the brake of a wheel end has told. */
export interface BrakeSeen {
  /** Last state of BSA, and when; source: -1 when it has never told one. */
  code: number;
  at: StreamMs;
  source: number;
  /** Last stroke at rest, mm (-1: none), and when the last stroke came. */
  restMm: number;
  strokeAt: StreamMs;
}

/** What there is to see of the truck, for the start check and the summary of a trip. */
export interface TripSight {
  layout: Layout;
  context: Context;
  tires: Tires;
  wheelEnds: Record<string, BrakeSeen>;
  /** Service circuits that this truck has ever told, but for marked ones; kpa null: silent now. */
  circuits: (t: StreamMs) => { subject: 'air/primary' | 'air/secondary'; kpa: number | null }[];
  /** In an application, or so shortly after it that states still belong to it. */
  isBraking: (t: StreamMs) => boolean;
  marks: { isMarked(sensor: string): boolean; readonly inForce: Mark[] };
  records: Records;
  /** Parked this long, tires are cold. */
  coldAfterMs: number;
}

/** What the truck does in a second. */
export interface TripFacts {
  moving: boolean;
  engineRunning: boolean;
}

/** A state or stroke older than this says nothing of now: the longest age limit of what comes once a second. */
const BRAKE_AGE_MS = 10_000;

export const isBrakeHeard = (seen: BrakeSeen, t: StreamMs): boolean =>
  t - Math.max(seen.at, seen.strokeAt) <= BRAKE_AGE_MS;
