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
  /** Gauge pressure as read, and its cold-equivalent; null: not heard just now. */
  kpa: number | null;
  coldKpa: number | null;
  targetKpa: number | null;
  /** Of the target. */
  share: number | null;
  /** Of the last reading; null: none. */
  ageS: number | null;
  /** Read cold, or against peers that were. */
  sure: boolean;
}

export interface BrakesCheck {
  /** Qualifying applications that were looked at. */
  applications: number;
  /** By wheel end: worst state of BSA (0 to 3) in them, and the last one while released; strokes likewise. */
  wheels: Record<string, BrakeCheck>;
}

export interface BrakeCheck {
  applied: number | null;
  released: number | null;
  strokeMm: number | null;
  restMm: number | null;
}

/** While the starter turns, and shortly after, sensors may read what is not there: nothing of this is taken from then. */
export interface AirCheck {
  /** Lower service circuit when it was first heard; in a trip that begins with the starter as it was before, where that was heard. */
  startKpa: number | null;
  /** From the start of the trip until it was seen past 414 kPa (60 psi); null: it never was at or below, or still is. */
  lowAirS: number | null;
  /** 586 to 689 kPa (85 to 100 psi). */
  buildUp: { seconds: number; meanRpm: number | null } | null;
  /** What the driver tested, the latest of each state and circuit. */
  leakTests: LeakTestSeen[];
}

export interface LeakTestSeen {
  state: 'released' | 'applied';
  circuit: string;
  seconds: number;
  kpaPerMin: number;
  limit: number;
}
