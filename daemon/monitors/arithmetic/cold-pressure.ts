/** 0 °C in kelvin. */
const KELVIN = 273.15;
/** Standard air pressure at sea level, kPa absolute. */
export const SEA_LEVEL_KPA = 101.325;

/**
 * Cold-equivalent pressure, kPa gauge: what the gauge would show at the reference temperature where the target was set.
 * Gas law at constant volume, absolute pressures and temperatures.
 * @param gaugeKpa as measured @param celsius of the air in the tire @param airKpa barometric pressure now (absolute)
 * @param referenceC temperature at which the target is meant @param depotAirKpa air pressure where it was set (absolute)
 */
export function coldPressure(
  gaugeKpa: number,
  celsius: number,
  airKpa: number,
  referenceC: number,
  depotAirKpa: number,
): number {
  return ((gaugeKpa + airKpa) * (referenceC + KELVIN)) / (celsius + KELVIN) - depotAirKpa;
}
