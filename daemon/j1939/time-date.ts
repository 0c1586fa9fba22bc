/** The bus clock, Time/Date (PGN 65254). Seconds, minutes and hours are UTC. Fields are null where the sender has none. */
export interface TimeDate {
  readonly year: number | null;
  readonly month: number | null;
  readonly day: number | null;
  /** Quarter of the day, 0…3. */
  readonly quarter: number | null;
  readonly hour: number | null;
  readonly minute: number | null;
  readonly second: number | null;
  /** Local time less UTC. */
  readonly offsetMinutes: number | null;
}

/** Values that no calendar has (month 13, hour 24) are null as well. */
export function decodeTimeDate(data: ArrayLike<number>, length: number): TimeDate {
  const at = (i: number) => (i < length && i < data.length && data[i]! <= 0xfa ? data[i]! : null);
  const within = (value: number | null, least: number, most: number) =>
    value !== null && value >= least && value <= most ? value : null;
  const seconds = within(at(0), 0, 239);
  // Days count in quarters from 1, so 1…4 are the first day.
  const days = within(at(4), 1, 124);
  const year = at(5);
  const localMinutes = at(6);
  const localHours = at(7);
  return {
    year: year === null ? null : year + 1985,
    month: within(at(3), 1, 12),
    day: days === null ? null : (days + 3) >>> 2,
    quarter: days === null ? null : (days - 1) & 3,
    hour: within(at(2), 0, 23),
    minute: within(at(1), 0, 59),
    second: seconds === null ? null : seconds / 4,
    offsetMinutes: localHours === null || localMinutes === null ? null : (localHours - 125) * 60 + (localMinutes - 125),
  };
}
