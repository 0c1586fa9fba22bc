import { NEVER, type StreamMs } from '../time.js';

export interface TireState {
  /** Gauge pressure of the last good reading, kPa, and the sender's step. */
  pressureKpa: number;
  stepKpa: number;
  at: StreamMs;
  temperatureC: number;
  temperatureAt: StreamMs;
  /** bus << 8 | source address that is believed, and that of the last good reading; -1 none. */
  source: number;
  readingSource: number;
  /** Its cold-equivalent pressure, kPa gauge; null without a fresh temperature. */
  coldKpa: number | null;
  /** Last TIRE2 pressure, and what TIRE1 says of it (SPN 6990: 1 use it, 0 do not, -1 nothing). */
  fineAt: StreamMs;
  extended: number;
  /** TIRE2 has said 0 kPa since then, and nothing else. */
  zeroAt: StreamMs;
  /** Last frame of any kind that named this tire: a frame that says "not available" is a frame, not a reading. */
  heardAt: StreamMs;
  /** Times between good readings while moving, newest last. */
  intervalsMs: number[];
  /** Moving time since the last good reading, ms. */
  silentMovingMs: number;
  /** Frames in a row in which the sender itself called it a leak, and low. */
  leakFrames: number;
  senderLeakKpaPerMin: number;
  lowFrames: number;
  extremeLowFrames: number;
  /** What was wrong with the sensor in the last frame that said so ('' nothing ever), its raw value, which group it was. */
  fault: string;
  faultCode: number;
  faultAt: StreamMs;
  faultGroup: number;
  /** Cold-equivalent pressure over time (raw where no temperature is known). */
  traceAt: StreamMs[];
  trace: number[];
  /** Share of target as judged last, and whether a baseline and peers stood behind it; NaN is written as -1. */
  share: number;
  shareSure: boolean;
  /** Readings since the last cold start; empty when not collecting. */
  startPressures: number[];
  startColds: number[];
  /** Medians of the cold start: absolute pressure then, and cold-equivalent gauge pressure, kPa; -1 none. */
  baseAbsoluteKpa: number;
  baseColdKpa: number;
}

export const newTire = (): TireState => ({
  pressureKpa: 0,
  stepKpa: 4,
  at: NEVER,
  temperatureC: 0,
  temperatureAt: NEVER,
  source: -1,
  readingSource: -1,
  coldKpa: null,
  fineAt: NEVER,
  extended: -1,
  zeroAt: NEVER,
  heardAt: NEVER,
  intervalsMs: [],
  silentMovingMs: 0,
  leakFrames: 0,
  senderLeakKpaPerMin: 0,
  lowFrames: 0,
  extremeLowFrames: 0,
  fault: '',
  faultCode: 0,
  faultAt: NEVER,
  faultGroup: 0,
  traceAt: [],
  trace: [],
  share: -1,
  shareSure: false,
  startPressures: [],
  startColds: [],
  baseAbsoluteKpa: -1,
  baseColdKpa: -1,
});

/** What one good pressure reading brings to the monitors. */
export interface TireReading {
  t: StreamMs;
  tire: number;
  kpa: number;
  /** Cold-equivalent pressure, NaN without a fresh temperature. */
  coldKpa: number;
  /** The reading before it, NaN when there is none. */
  beforeKpa: number;
  beforeColdKpa: number;
  sinceMs: number;
  ageMs: number;
}
