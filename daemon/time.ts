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
