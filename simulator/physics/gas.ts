const ZERO_C_K = 273.15;

export function kelvin(celsius: number): number {
  return celsius + ZERO_C_K;
}

/**
 * Gauge pressure after a change of temperature, and perhaps of the air outside, at constant volume:
 * `(p1 + a1) × T2 / T1 − a2`. Any pressure unit, the same throughout.
 */
export function gaugeAfter(gauge1: number, t1C: number, t2C: number, outside1: number, outside2 = outside1): number {
  return ((gauge1 + outside1) * kelvin(t2C)) / kelvin(t1C) - outside2;
}

/** How much air is in a vessel of fixed volume: absolute pressure over absolute temperature, kPa/K. */
export function airAmount(gaugeKpa: number, celsius: number, outsideKpa: number): number {
  return (gaugeKpa + outsideKpa) / kelvin(celsius);
}

export function gaugeOf(airKpaPerK: number, celsius: number, outsideKpa: number): number {
  return airKpaPerK * kelvin(celsius) - outsideKpa;
}
