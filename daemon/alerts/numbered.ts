import type { TripRecord } from '../effects.js';
import type { WallMs } from '../time.js';
import type { RecordOf } from '../truck/records.js';
import type { EventDraft, OpenDraft } from './event.js';

/** One life of the program (or one replay): what stream time means in wall time. */
export interface RunInfo {
  /** Wall clock at stream time 0, as best known. */
  zeroWallMs: WallMs;
  /** Is that wall clock known to be right? */
  synced: boolean;
}

/** What decided it: hash of the configuration in force at that moment, and version of the program. */
export interface DecidedBy {
  config: string;
  version: string;
}

/** An event with its number. `draft.alert` and `draft.cause` are ordinals; the ids stand beside them. */
export interface NumberedEvent {
  seq: number;
  store: string;
  boot: number;
  /** False in volatile mode. */
  stored: boolean;
  alertId: string;
  causeId: string | null;
  draft: EventDraft;
  run: RunInfo;
  /** null: stored by a version that did not keep it. */
  by: DecidedBy | null;
}

/** A trip that has ended. Times of the record are stream time of `boot`, whose run is `run`. */
export interface NumberedTrip {
  store: string;
  boot: number;
  record: TripRecord;
  run: RunInfo;
  /** null: not known. */
  by: DecidedBy | null;
}

/** A start-of-trip check. Times of the record are stream time of `boot`, whose run is `run`. */
export interface NumberedCheck {
  store: string;
  boot: number;
  record: RecordOf<'start-check'>;
  run: RunInfo;
  /** null: not known. */
  by: DecidedBy | null;
}

/** The list of open alerts as of a number, ids resolved (index for index with open.alerts). */
export interface NumberedOpen {
  store: string;
  asOf: number;
  alertIds: string[];
  causeIds: (string | null)[];
  open: OpenDraft;
  run: RunInfo;
}
