/** What happened on a trip, as far as it got. Values and durations only; what was not seen is null. */
export interface TripSummary {
  /** From its start to its end. */
  durationS: number;
  movingS: number;
  engineS: number;
  /** Where the distance comes from: the odometer, or speed added up where no odometer was heard. */
  distanceFrom: 'odometer' | 'speed' | null;
  applications: ApplicationsSummary;
  hottestTire: { subject: string; celsius: number } | null;
  /** Lowest pressure of each service circuit while moving. */
  lowestAir: { primaryKpa: number | null; secondaryKpa: number | null };
  /** Share of engine-running time spent pumping: as the compressor says itself, else by its cycles. */
  compressor: { share: number; from: 'signal' | 'cycles' } | null;
  /** Alerts raised in it, by the worst urgency that they reached in it. */
  raised: { plan: number; 'next-stop': number; 'pull-over': number };
  /** Sensors that were expected to tell something and did not: tires while moving, brakes and air while the engine ran. */
  silent: { subject: string; seconds: number }[];
}

export interface ApplicationsSummary {
  count: number;
  qualifying: number;
  /** Greatest pressure of all applications; null where none was known. */
  hardestKpa: number | null;
}
