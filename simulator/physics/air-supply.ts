/** Reservoir volumes, liters: supply (wet), primary and secondary service circuit, trailer. */
const SUPPLY_L = 25;
const PRIMARY_L = 45;
const SECONDARY_L = 40;
const TRAILER_L = 80;
/** Lines and spring brakes of a truck that tows nothing. */
const NO_TRAILER_L = 12;
/** Governor: cut-in about 100 psi, cut-out about 125 psi (driver-manual figures). */
export const CUT_IN_KPA = 690;
export const CUT_OUT_KPA = 862;
/** kPa·L/s at 1,000 rpm: a combination then builds 586 → 689 kPa in about a minute. */
const COMPRESSOR = 335;
/** kPa·L/s through a check valve per kPa of difference. */
const CHECK_VALVE = 20;
/** Air used per kPa of rising application pressure, kPa·L. */
const USE_PRIMARY = 3.1;
const USE_SECONDARY = 2.2;
const USE_TRAILER = 4.6;
/** Spring brakes fill when the parking brake is released, kPa·L. */
const RELEASE_TRAILER = 2400;
/** Small leaks of a healthy combination, kPa/min. */
const SEEP = { supply: 0.6, primary: 0.9, secondary: 0.8, trailer: 1.1 };
const LEAK_AT_ABSOLUTE_KPA = 900;
/** Half seconds until the reservoirs have come to rest. */
const SHARE_STEPS = 8;

export interface AirLeak {
  /** kPa/min at 900 kPa absolute; less as the pressure falls. */
  supplyKpaPerMin: number;
  primaryKpaPerMin: number;
  secondaryKpaPerMin: number;
  trailerKpaPerMin?: number | undefined;
}

export interface SupplyOptions {
  cutInKpa: number;
  cutOutKpa: number;
  /** Compared with a healthy compressor, and with the leaks of a healthy combination. */
  compressor: number;
  seep: number;
  /** What the dryer blows off out of the supply reservoir at cut-out. */
  purgeKpa: number;
  trailer: boolean;
  /** Size of the service reservoirs: they are built for the chambers that hang on them (571.121 S5.1.2.1). */
  reservoirs: number;
}

const USUAL: SupplyOptions = {
  cutInKpa: CUT_IN_KPA,
  cutOutKpa: CUT_OUT_KPA,
  compressor: 1,
  seep: 1,
  purgeKpa: 0,
  trailer: true,
  reservoirs: 1,
};
/** A compressor takes in less where the air is thinner than this. */
const FULL_AIR_KPA = 95;

export const NO_AIR_LEAK: AirLeak = { supplyKpaPerMin: 0, primaryKpaPerMin: 0, secondaryKpaPerMin: 0 };

/** Compressor, governor and four reservoirs behind check valves. Pressures are gauge, kPa. */
export class AirSupply {
  supplyKpa: number;
  primaryKpa: number;
  secondaryKpa: number;
  trailerKpa: number;
  pumping = false;
  /** May be changed while it runs. */
  readonly options: SupplyOptions;
  /** Circuits whose check valve lets nothing in. */
  readonly blocked = { primary: false, secondary: false };
  private wasApplied = 0;
  private wasParked = true;

  constructor(primaryKpa: number, secondaryKpa: number, options: Partial<SupplyOptions> = {}) {
    this.options = { ...USUAL, ...options };
    this.primaryKpa = primaryKpa;
    this.secondaryKpa = secondaryKpa;
    this.supplyKpa = Math.min(primaryKpa, secondaryKpa) - 6;
    this.trailerKpa = Math.min(primaryKpa, secondaryKpa) - 14;
  }

  /** rpm: 0 when the engine stands. applicationKpa: what the foot valve gives. */
  step(
    dtS: number,
    rpm: number,
    applicationKpa: number,
    parkingBrake: boolean,
    leak: AirLeak,
    outsideKpa: number,
  ): void {
    this.govern(rpm);
    const { compressor } = this.options;
    if (this.pumping) {
      const intake = COMPRESSOR * compressor * Math.min(1, outsideKpa / FULL_AIR_KPA);
      this.supplyKpa += (intake * (rpm / 1000) * (1 - this.supplyKpa / 3000) * dtS) / SUPPLY_L;
    }
    this.use(applicationKpa, parkingBrake);
    this.seep(dtS, leak, outsideKpa);
    this.share(dtS);
  }

  /** A long time with the engine off: small leaks, then what is in the supply reservoir goes where less is. */
  rest(dtS: number, leak: AirLeak, outsideKpa: number): void {
    this.pumping = false;
    this.wasApplied = 0;
    this.seep(dtS, leak, outsideKpa);
    for (let i = 0; i < SHARE_STEPS; i += 1) this.share(0.5);
  }

  /** The air outside grew thinner by so much: gauges show more. */
  rise(byKpa: number): void {
    this.supplyKpa += byKpa;
    this.primaryKpa += byKpa;
    this.secondaryKpa += byKpa;
    this.trailerKpa += byKpa;
  }

  private seep(dtS: number, leak: AirLeak, outsideKpa: number): void {
    const { seep } = this.options;
    const seeps = (kpa: number, kpaPerMin: number) =>
      Math.max(0, kpa - (kpaPerMin * (kpa + outsideKpa) * dtS) / LEAK_AT_ABSOLUTE_KPA / 60);
    this.supplyKpa = seeps(this.supplyKpa, SEEP.supply * seep + leak.supplyKpaPerMin);
    this.primaryKpa = seeps(this.primaryKpa, SEEP.primary * seep + leak.primaryKpaPerMin);
    this.secondaryKpa = seeps(this.secondaryKpa, SEEP.secondary * seep + leak.secondaryKpaPerMin);
    this.trailerKpa = seeps(this.trailerKpa, SEEP.trailer * seep + (leak.trailerKpaPerMin ?? 0));
  }

  private share(dtS: number): void {
    const { reservoirs } = this.options;
    if (!this.blocked.primary) this.primaryKpa += this.refill(this.primaryKpa, PRIMARY_L * reservoirs, dtS);
    if (!this.blocked.secondary) this.secondaryKpa += this.refill(this.secondaryKpa, SECONDARY_L * reservoirs, dtS);
    this.trailerKpa += this.refill(this.trailerKpa, this.trailerL, dtS);
  }

  private get trailerL(): number {
    return this.options.trailer ? TRAILER_L : NO_TRAILER_L;
  }

  private govern(rpm: number): void {
    const { cutInKpa, cutOutKpa, purgeKpa } = this.options;
    if (this.supplyKpa <= cutInKpa) this.pumping = true;
    if (this.supplyKpa >= cutOutKpa) {
      if (this.pumping) this.supplyKpa -= purgeKpa;
      this.pumping = false;
    }
    if (rpm < 400) this.pumping = false;
  }

  /** Chambers take air while the application grows; spring brakes take it when the parking brake is released. */
  private use(applicationKpa: number, parkingBrake: boolean): void {
    const grows = Math.max(0, applicationKpa - this.wasApplied);
    this.primaryKpa -= (grows * USE_PRIMARY) / PRIMARY_L;
    this.secondaryKpa -= (grows * USE_SECONDARY) / SECONDARY_L;
    if (this.options.trailer) {
      this.trailerKpa -= (grows * USE_TRAILER) / TRAILER_L;
      if (this.wasParked && !parkingBrake) this.trailerKpa -= RELEASE_TRAILER / TRAILER_L;
    }
    this.wasApplied = applicationKpa;
    this.wasParked = parkingBrake;
  }

  /** Moves air from the supply reservoir into a circuit, never back; returns the rise of the circuit. */
  private refill(kpa: number, liters: number, dtS: number): number {
    const flow = Math.max(0, this.supplyKpa - kpa - 3) * CHECK_VALVE * dtS;
    this.supplyKpa -= flow / SUPPLY_L;
    return flow / liters;
  }
}
