import type { Scenario } from '../scenario.js';

export const SEA_LEVEL_KPA = 101.325;
/** Standard atmosphere (ISO 2533): colder by so much per meter. */
const LAPSE_C_PER_M = 0.0065;
const LAPSE_SHARE_PER_M = 2.25577e-5;
/** (1 − x)^5.25588 as a series: no power function, which engines may round unlike. Exact to 1e-6 up to 4,500 m. */
const SERIES = [1, -5.25588, 11.184267, -12.138216, 6.845682, -1.719467, 0.073333];

/** Air pressure of the standard atmosphere, kPa absolute. */
export function outsideKpaAt(altitudeM: number): number {
  const x = LAPSE_SHARE_PER_M * altitudeM;
  let sum = 0;
  for (let i = SERIES.length - 1; i >= 0; i -= 1) sum = sum * x + SERIES[i]!;
  return SEA_LEVEL_KPA * sum;
}

const COLDEST_H = 5;
const WARMEST_H = 15;

/** 0 at the coldest hour, 1 at the warmest, smooth between. */
function warmth(hour: number): number {
  const up = WARMEST_H - COLDEST_H;
  const since = (hour - COLDEST_H + 24) % 24;
  const x = since <= up ? since / up : 1 - (since - up) / (24 - up);
  return x * x * (3 - 2 * x);
}

/** Air around the truck, by time and height. */
export class Weather {
  /** Where the shift begins; NaN where the scenario gives the pressure itself. */
  readonly startM: number;
  private readonly scenario: Scenario;
  private readonly startH: number;

  constructor(scenario: Scenario) {
    this.scenario = scenario;
    this.startM = scenario.weather.altitudeM ?? Number.NaN;
    this.startH = Date.parse(scenario.start) / 3_600_000;
  }

  /** s: seconds from the start. climbedM: how much higher the truck is than at the start. */
  ambientC(s: number, climbedM: number): number {
    const { ambientC, daily } = this.scenario.weather;
    const higher = climbedM * LAPSE_C_PER_M;
    if (daily) return daily.lowC + (daily.highC - daily.lowC) * warmth((this.startH + s / 3600) % 24) - higher;
    const [from, to] = ambientC!;
    return from + (to - from) * (s / this.scenario.durationS) - higher;
  }

  outsideKpa(s: number, climbedM: number): number {
    const { outsideKpa } = this.scenario.weather;
    if (!outsideKpa) return outsideKpaAt(this.startM + climbedM);
    return outsideKpa[0] + (outsideKpa[1] - outsideKpa[0]) * (s / this.scenario.durationS);
  }
}
