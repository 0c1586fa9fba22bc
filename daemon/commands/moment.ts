import type { StreamMs, WallMs } from '../time.js';
import { EXIT, Failure } from './failure.js';

/** A point of a recording: since its start, or by the wall clock of its stamps. */
export type Moment = { since: StreamMs } | { wall: WallMs };

/** Accepts 90 (seconds), 1:30, 0:01:30, or an ISO time such as 2026-03-02T14:03:00Z. */
export function parseMoment(option: string, text: string): Moment {
  if (/^\d+(\.\d+)?$/.test(text)) return { since: Math.round(Number(text) * 1000) };
  if (/^(\d+:)?\d{1,2}:\d{2}$/.test(text)) {
    const seconds = text.split(':').reduce((sum, part) => sum * 60 + Number(part), 0);
    return { since: seconds * 1000 };
  }
  const wall = /^\d{4}-\d{2}-\d{2}T/.test(text) ? Date.parse(text) : Number.NaN;
  if (!Number.isNaN(wall)) return { wall };
  throw new Failure(
    EXIT.usage,
    `${option} ${text}: write seconds (90), h:mm:ss (1:30:00) or a time (2026-03-02T14:03:00Z)`,
  );
}

/** `--from` and `--to` that count seconds have one start to count from. Throws a Failure. runs: how many there are. */
export function refuseSince(runs: number, ...moments: (Moment | null)[]): void {
  if (runs < 2 || !moments.some((moment) => moment !== null && 'since' in moment)) return;
  const line = `--from and --to: these logs are ${runs} runs, each with its own start`;
  throw new Failure(EXIT.usage, `${line}; write a time like 2026-03-02T14:03:00Z`);
}

/** Is stream time t at or after the moment? */
export function isAfter(moment: Moment, t: StreamMs, zeroWallMs: WallMs): boolean {
  return 'since' in moment ? t >= moment.since : zeroWallMs + t >= moment.wall;
}
