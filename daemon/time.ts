/**
 * Milliseconds of stream time: whole milliseconds since *zero* of this run. Never wall time.
 * Names end in the unit: `…Ms` durations, `…At` instants of stream time, `…S` seconds.
 */
export type StreamMs = number;

/** Milliseconds since 1970 by the wall clock; only on the way in and out. */
export type WallMs = number;

export const TICK_MS = 1000;

/** An instant that never was. Finite, so that state stays plain JSON and arithmetic stays ordered. */
export const NEVER: StreamMs = -1e15;

/** 2000-01-01T00:00:00Z. Stamps before it are of a clock that was not set, or count from the beginning of a recording: no wall time. */
export const CALENDAR_FROM_MS: WallMs = 946_684_800_000;
