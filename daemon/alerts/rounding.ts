/**
 * Decimals of every unit that events carry: its declared step is 10^-decimals. Chosen at least as fine as any sender's step
 * (SAE J1939-71: tire pressure 4 kPa, temperature 1/32 °C, speed 1/256 km/h) and as coarse as a reader can use.
 */
const DECIMALS: Readonly<Record<string, number>> = {
  kPa: 1,
  'kPa/min': 1,
  'kPa/day': 1,
  '°C': 1,
  mm: 1,
  'mm/day': 2,
  'km/h': 1,
  km: 1,
  s: 1,
  min: 1,
  h: 2,
  d: 1,
  rpm: 0,
  '%': 1,
  share: 3,
  '1/100 kPa': 0,
  deg: 5,
  '': 3,
};

/** For a unit that the table does not have. */
const OTHER_DECIMALS = 3;

/** Forecasts are told to the whole second. */
export const FORECAST_STEP_MS = 1000;

/**
 * A number rounded to its unit's step, halves away from zero, never −0; null where it is not finite.
 * toFixed is defined on the exact value by ECMA-262, so every engine gives the same digits.
 */
export function roundedTo(unit: string, value: number): number | null {
  if (!Number.isFinite(value)) return null;
  const rounded = Number(value.toFixed(DECIMALS[unit] ?? OTHER_DECIMALS));
  return rounded === 0 ? 0 : rounded;
}

/** Is the unit's step declared? Tests hold every rule's unit against this. */
export function isDeclaredUnit(unit: string): boolean {
  return Object.hasOwn(DECIMALS, unit);
}
