import type { RunInfo } from '../alerts/numbered.js';
import type { Resume } from '../pipeline.js';
import { CALENDAR_FROM_MS, type StreamMs, type WallMs } from '../time.js';
import type { Part } from './replay-plan.js';
import type { Session } from './session.js';

/** What a run has come to: a later one goes on from it where its own state is not wanted. */
export interface Left {
  session: Session;
  t: StreamMs;
}

/** @param zeroMs first stamp of logs of somebody else */
export function runOf({ recording }: Part, zeroMs: WallMs | null): RunInfo {
  if (recording === null) return { zeroWallMs: zeroMs ?? 0, synced: (zeroMs ?? 0) >= CALENDAR_FROM_MS };
  const { zeroCalendarMs, run } = recording;
  // What was not known to be right then is not known in the replay either, until the recording says so.
  if (zeroCalendarMs === null) return { zeroWallMs: run.zeroWallMs, synced: false };
  return { zeroWallMs: zeroCalendarMs, synced: true };
}

/** What a part starts from. @param left what the part before it has come to */
export function resumeOf({ recording }: Part, run: RunInfo, left: Left | null): Resume | null {
  if (recording === null) return null;
  const { state, firstT: t } = recording;
  if (state !== null) return { kind: 'same-run', state, t };
  if (!recording.afterRestart || left === null) return null;
  const { session } = left;
  const known = run.synced && session.run.synced;
  const downMs = known ? Math.max(0, run.zeroWallMs - (session.run.zeroWallMs + left.t)) : null;
  return { kind: 'restart', state: session.pipeline.snapshot(left.t), downMs };
}
