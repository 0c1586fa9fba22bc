/**
 * What a look at the truck before a trip would want, once per trip. What was not seen is null. Instants are none of these: all
 * is values and durations.
 */
export interface StartCheck {
  trip: number;
  /** Why it is told now: all of it was seen, it took too long, or the trip ended. */
  why: 'complete' | 'time' | 'trip-end';
  /** How long the truck had stood; null: nobody knows. */
  stoodS: number | null;
  /** By tire subject. */
  tires: Record<string, TireCheck>;
  brakes: BrakesCheck;
  air: AirCheck;
}

export interface TireCheck {
  /** Gauge pressure as read, and its cold-equivalent. */
  kpa: number | null;
  coldKpa: number | null;
  targetKpa: number | null;
  /** Of the target. */
  share: number | null;
  /** Of the reading; null: never heard. */
  ageS: number | null;
  /** Read cold, or against peers that were. */
  sure: boolean;
}

export interface BrakesCheck {
  /** Qualifying applications that were looked at. */
  applications: number;
  /** By wheel end: worst state of BSA (0 to 3) in them, and the last one while released; strokes likewise. */
  wheels: Record<
    string,
    { applied: number | null; released: number | null; strokeMm: number | null; restMm: number | null }
  >;
}

export interface AirCheck {
  /** Lower service circuit when the engine started. */
  startKpa: number | null;
  /** From the engine's start until the lower circuit had passed the limit of the low-air warning; null: it never was below, or is. */
  lowAirS: number | null;
  /** 586 to 689 kPa (85 to 100 psi). */
  buildUp: { seconds: number; meanRpm: number | null } | null;
  /** What the driver tested, the latest of each state and circuit. */
  leakTests: { state: 'released' | 'applied'; circuit: string; seconds: number; kpaPerMin: number; limit: number }[];
}
