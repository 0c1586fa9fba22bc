import type { StreamMs } from '../time.js';
import type { AlertState } from './alert.js';
import type { EventDraft } from './event.js';
import type { MutedFinding } from './muting.js';

export interface BookState {
  nextOrdinal: number;
  /** By "rule subject". */
  alerts: Record<string, AlertState>;
  /** By "rule subject". */
  muted: Record<string, MutedFinding>;
  /** The muted findings of the last list, in one line. */
  listed: string;
  /** When this run of the program started. */
  startedAt: StreamMs;
}

export const newBookState = (): BookState => ({ nextOrdinal: 1, alerts: {}, muted: {}, listed: '', startedAt: 0 });

/** What the book must know of the truck at a tick. */
export interface Surroundings {
  moving: boolean;
  engineRunning: boolean;
  cranking: boolean;
  blind: boolean;
  /** Known to stand still: a person at it can say that it is repaired. */
  standing: boolean;
  /** A trip begins at this tick. */
  tripBegan: boolean;
  trailer: string | null;
  vehicle: () => EventDraft['vehicle'];
}
