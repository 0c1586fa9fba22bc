import { TICK_LATE_MS } from './health.js';

/** A commit that is not answered. A flash card that tidies itself up takes some ten seconds. A refusal is an answer. */
const COMMIT_LATE_MS = 120_000;

export interface MovingParts {
  /** Milliseconds since the last tick was decided. */
  readonly sinceTickMs: number;
  /** For how long the oldest commit under way has waited; 0: none is. */
  readonly oldestCommitMs: number;
}

/** Does the pipeline really move: are ticks decided, and do commits get an answer? For the service manager's watchdog. */
export const isMoving = ({ sinceTickMs, oldestCommitMs }: MovingParts): boolean =>
  sinceTickMs <= TICK_LATE_MS && oldestCommitMs <= COMMIT_LATE_MS;
