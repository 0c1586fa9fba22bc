/**
 * What a truck tells the office in a day of ten hours with the key on (docs/quality.md counts truck-days so). Rates per truck and
 * day. Measured is only what docs/quality.md has; the rest is assumed, and meant to be rather more than less.
 */
export const DAY_S = 36_000;

export const DAY = {
  /** docs/topics.md: every five minutes while awake. */
  readings: DAY_S / 300,
  /** The goal for a healthy fleet is under one alert a day, and 0.015 were measured (docs/quality.md): this is the bound. */
  alerts: 1,
  /** Assumed: raised, worse, better, cleared. Each comes with a new `open`. */
  eventsPerAlert: 4,
  /** Assumed: so often a truck is parked, falls asleep and wakes; each has a start check, a summary and a reading of its own. */
  stops: 6,
  /** Assumed: the radio loses the connection and the truck comes back: will, `open`, `presence`, `reading`. */
  losses: 10,
} as const;

/** Messages to the office per truck and day: of a stop six besides the reading. */
export const MESSAGES_A_DAY =
  DAY.readings + DAY.alerts * DAY.eventsPerAlert * 2 + DAY.stops * (3 + 2 + 1) + DAY.losses * 4;

/** Per second of a whole fleet. */
export const perSecond = (perDay: number, trucks: number): number => (perDay * trucks) / DAY_S;
