import { readFile, stat } from 'node:fs/promises';
import { recordingsIn, sidecarPath } from '../recorder/read.js';

export interface Segment {
  log: string;
  /** null: it has none. */
  sidecar: string | null;
  /** Of both. */
  bytes: number;
}

/** Recordings that have something from `sinceMs` on, oldest first: by their stamps, or by the time of the file where that is later. */
export async function recordingsSince(folder: string, sinceMs: number): Promise<Segment[]> {
  const segments: Segment[] = [];
  for (const log of await recordingsIn(folder)) {
    const beside = sidecarPath(log);
    const entry = await stat(log).catch(() => null);
    // The oldest go while we look.
    if (entry === null) continue;
    const about = beside === null ? null : await stat(beside).catch(() => null);
    const end = about === null || beside === null ? null : await endOf(beside);
    // A run whose clock was wrong has wrong stamps; the file's own time may be of a clock set since.
    if (Math.max(end ?? 0, entry.mtimeMs) < sinceMs) continue;
    segments.push({ log, sidecar: about === null ? null : beside, bytes: entry.size + (about?.size ?? 0) });
  }
  return segments;
}

/** The wall time at which a segment ends by its sidecar; null when that does not say it. */
async function endOf(path: string): Promise<number | null> {
  try {
    const { zeroMs, lastT, firstT } = JSON.parse(await readFile(path, 'utf8')) as Record<string, unknown>;
    const t = typeof lastT === 'number' ? lastT : firstT;
    return typeof zeroMs === 'number' && typeof t === 'number' ? zeroMs + t : null;
  } catch {
    return null;
  }
}
