import type { WallMs } from '../time.js';
import type { EventDraft, OpenDraft } from './event.js';

/** One life of the program (or one replay): what stream time means in wall time. */
export interface RunInfo {
  /** Wall clock at stream time 0, as best known. */
  zeroWallMs: WallMs;
  /** Is that wall clock known to be right? */
  synced: boolean;
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
