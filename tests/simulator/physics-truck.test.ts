import { describe, expect, it } from 'vitest';
import { Simulation } from '../../simulator/index.js';
import { AirSupply, NO_AIR_LEAK } from '../../simulator/physics/air-supply.js';
import { WheelBrake } from '../../simulator/physics/brake.js';
import { gaugeAfter } from '../../simulator/physics/gas.js';
import { SimulatedTire } from '../../simulator/physics/tire.js';
import { Vehicle } from '../../simulator/physics/vehicle.js';
import { outsideKpaAt } from '../../simulator/physics/weather.js';
import { shift } from './support.js';

const celsius = (fahrenheit: number) => ((fahrenheit - 32) * 5) / 9;

describe('air outside', () => {
  // ISO 2533, standard atmosphere, geopotential altitude.
  it.each([
    [0, 101.325],
    [500, 95.461],
    [1000, 89.875],
    [2000, 79.495],
    [3000, 70.108],
    [4000, 61.64],
  ])('at %i m is %f kPa', (meters, kpa) => {
    expect(outsideKpaAt(meters)).toBeCloseTo(kpa, 2);
  });
});

describe('gas law: reference set of the gas-law section (psi, 14.7 psi outside)', () => {
  it.each([
    [105, 65, 150, 124.39],
    [118, 150, 65, 99.5],
    [110, 65, 10, 96.93],
    [100, 65, 140, 116.4],
    [100, 38, 91, 112.22],
  ])('%f psi at %f °F is at %f °F %f psi', (psi, from, to, expected) => {
    expect(gaugeAfter(psi, celsius(from), celsius(to), 14.7)).toBeCloseTo(expected, 2);
  });

  it('a tire of 690 kPa shows 711.8 kPa at 79.5 kPa outside, and a sensor without a hole 690', () => {
    const tire = new SimulatedTire(690, 'outer', 18, 1, { load: 0.6, sensor: 'rim', depotKpa: 101.325 });
    expect(tire.gaugeKpa(79.5)).toBeCloseTo(711.825, 3);
    expect(tire.gaugeKpa(79.5) + 79.5 - 101.325).toBeCloseTo(690, 6);
  });
});

describe('a tire on the road', () => {
  const drive = (load: number, position: 'single' | 'outer', ambientC = 18, sensor: 'rim' | 'valve' = 'rim') => {
    const tire = new SimulatedTire(690, position, ambientC, 1, { load, sensor, depotKpa: 101.325 });
    const cold = tire.gaugeKpa(101.325);
    for (let s = 0; s < 7200; s += 1)
      tire.step(1, { ambientC, outsideKpa: 101.325, speedKmh: 95, drumC: ambientC + 15 });
    return { tire, rise: tire.gaugeKpa(101.325) / cold - 1 };
  };

  it('gains 10 to 20 % with a full load, as handbooks say (T-42), less with a light one', () => {
    for (const position of ['single', 'outer'] as const) {
      const { rise } = drive(1, position);
      expect(rise).toBeGreaterThan(0.1);
      expect(rise).toBeLessThan(0.2);
      expect(drive(0.3, position).rise).toBeLessThan(rise / 1.5);
    }
  });

  it('runs near 150 °F in summer with a full load (T-46)', () => {
    const { tire } = drive(1, 'outer', 30);
    expect(Math.abs(tire.rubberC - celsius(150))).toBeLessThan(10);
  });

  it('a sensor on the rim lags behind the air, one at the valve less', () => {
    const rim = drive(1, 'outer').tire;
    const valve = drive(1, 'outer', 18, 'valve').tire;
    expect(rim.airC - rim.sensorC).toBeGreaterThan(5);
    expect(valve.airC - valve.sensorC).toBeLessThan(rim.airC - rim.sensorC);
  });
});

describe('brakes', () => {
  const fault = { overstrokeKpa: null, dragging: false };

  it('an adjusted type 30 takes 1.5 in at 100 psi (B-34), some 10 mm more when the drum is 300 °C hotter (B-40)', () => {
    const brake = new WheelBrake(20);
    expect(brake.strokeMm(689.5, 20, 63.5, 0, fault) / 25.4).toBeCloseTo(1.5, 1);
    const cold = brake.strokeMm(689.5, 20, 63.5, 0, fault);
    brake.drumC = 320;
    expect(brake.strokeMm(689.5, 20, 63.5, 0, fault) - cold).toBeCloseTo(10, 0);
  });

  it('never more than the chamber has, next to nothing where it does not apply', () => {
    const brake = new WheelBrake(20);
    expect(brake.strokeMm(689.5, 20, 63.5, 60, fault)).toBe(63.5);
    expect(brake.strokeMm(689.5, 20, 63.5, 0, { ...fault, notApplying: true })).toBeLessThan(5);
  });

  it('down a grade the driver holds the speed by braking again and again, and the heat is what the hill gives', () => {
    const vehicle = new Vehicle(0, 0.6);
    vehicle.startEngine();
    for (let i = 0; i < 50; i += 1) vehicle.step(0.1, 800);
    vehicle.begin({ do: 'drive', kmh: 45, holdS: 1 });
    while (!vehicle.done) vehicle.step(0.1, 800);
    vehicle.begin({ do: 'descend', kmh: 45, holdS: 600, grade: 0.06, kpa: 180 });
    let [kj, applications, before, most] = [0, 0, 0, 0];
    const startM = vehicle.climbedM;
    while (!vehicle.done) {
      vehicle.step(0.1, 800);
      kj += vehicle.brakingKw * 0.1;
      if (vehicle.brakeKpa >= 20 && before < 20) applications += 1;
      before = vehicle.brakeKpa;
      most = Math.max(most, vehicle.speedKmh);
    }
    expect(applications).toBeGreaterThan(10);
    expect(most).toBeLessThan(55);
    // 31 t × 9.81 × meters lost, less what engine brake and rolling take (0.34 of 0.59 m/s²).
    const hill = 31 * 9.81 * (startM - vehicle.climbedM);
    expect(kj / hill).toBeGreaterThan(0.3);
    expect(kj / hill).toBeLessThan(0.55);
  });
});

describe('the air supply', () => {
  const build = (trailer: boolean, options = {}) => {
    const air = new AirSupply(500, 500, { trailer, reservoirs: trailer ? 1 : 0.75, ...options });
    let [from, to] = [0, 0];
    for (let i = 0; i < 6000 && to === 0; i += 1) {
      air.step(0.1, 1000, 0, true, NO_AIR_LEAK, 101.3);
      if (from === 0 && air.primaryKpa >= 586) from = i / 10;
      if (air.primaryKpa >= 689) to = i / 10;
    }
    return to - from;
  };

  it('of a truck alone builds 85 → 100 psi within the 45 s of driver manuals (D-04); weak, it does not', () => {
    expect(build(false)).toBeLessThan(45);
    expect(build(false)).toBeGreaterThan(20);
    expect(build(false, { compressor: 0.5 })).toBeGreaterThan(60);
  });

  it('takes longer for more reservoir, in proportion (571.121 S5.1.1)', () => {
    // 25 + 45 + 40 + 80 against 25 + 45 + 40 + 12 liters.
    expect(build(true) / build(false, { reservoirs: 1 })).toBeCloseTo(190 / 122, 1);
  });

  it('stops and starts where the governor is told to, and blows off the dryer', () => {
    const air = new AirSupply(700, 700, { cutInKpa: 720, cutOutKpa: 900, purgeKpa: 40 });
    let most = 0;
    for (let i = 0; i < 9000 && (air.pumping || i < 10); i += 1) {
      air.step(0.1, 1200, 0, true, NO_AIR_LEAK, 101.3);
      most = Math.max(most, air.supplyKpa);
    }
    expect(most).toBeGreaterThan(895);
    expect(air.supplyKpa).toBeLessThan(most - 30);
  });

  it('a circuit behind a blocked check valve does not come back', () => {
    const air = new AirSupply(600, 600);
    air.blocked.secondary = true;
    for (let i = 0; i < 2000; i += 1) air.step(0.1, 1200, 0, true, NO_AIR_LEAK, 101.3);
    expect(air.primaryKpa).toBeGreaterThan(800);
    expect(air.secondaryKpa).toBeLessThan(600);
  });

  it('a night in one go ends where a night in tenths of seconds does', () => {
    const [slow, fast] = [new AirSupply(850, 840), new AirSupply(850, 840)];
    for (let i = 0; i < 36_000; i += 1) slow.step(0.1, 0, 0, true, NO_AIR_LEAK, 101.3);
    for (let i = 0; i < 60; i += 1) fast.rest(60, NO_AIR_LEAK, 101.3);
    expect(Math.abs(slow.primaryKpa - fast.primaryKpa)).toBeLessThan(2);
    expect(Math.abs(slow.trailerKpa - fast.trailerKpa)).toBeLessThan(4);
  });
});

describe('the whole truck', () => {
  it('after a night is as cold as the air, and on a pass of 2,000 m its gauges show more', () => {
    const scenario = shift(81, (file) => {
      file.weather = { daily: { lowC: 10, highC: 10 }, altitudeM: 0 };
      file.passM = 2000;
      file.tires = { spread: 0, filledAtC: 18 };
      file.drive = [
        { mode: 'idle', until: '0:10:00' },
        { mode: 'mountain', until: '2:00:00' },
        { mode: 'idle', until: '2:05:00' },
        { mode: 'off', until: '12:00:00' },
        { mode: 'key', until: '12:01:00' },
      ];
    });
    const simulation = new Simulation(scenario, { thin: true });
    simulation.advance(simulation.endMs, () => {});
    const { truck } = simulation;
    expect(truck.ambientC).toBeCloseTo(10 - 0.0065 * truck.vehicle.climbedM, 6);
    for (const tire of truck.wheels.tires) {
      expect(Math.abs(tire.airC - truck.ambientC)).toBeLessThan(1);
      const higher = tire.gaugeKpa(truck.outsideKpa) - tire.gaugeKpa(101.325);
      expect(higher).toBeCloseTo(101.325 - outsideKpaAt(truck.vehicle.climbedM), 6);
    }
    for (const brake of truck.brakes) expect(Math.abs(brake.drumC - truck.ambientC)).toBeLessThan(1);
  });
});
