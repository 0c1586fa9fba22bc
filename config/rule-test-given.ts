import { parseValue, type QuantityName, type TestTruck, type Value } from './rule-test-quantities.js';
import { GIVEN_TRUCK, type GivenText } from './rule-test-schema.js';
import type { Series } from './rule-test-series.js';

/** A loaded truck on a flat road; everything can be told otherwise under `given`. */
const HEALTHY: Record<(typeof GIVEN_TRUCK)[number], string | null> = {
  speed: '80 km/h',
  engine: '1200 rpm',
  parkingBrake: 'released',
  // Not sent: whoever tells a pressure has told an application, without a pedal that contradicts.
  brakeSwitch: 'none',
  pedal: 'none',
  brakePressure: '0 kPa',
  // null: as the truck file has it.
  ambient: null,
  barometer: null,
  compressor: 'none',
  traffic: 'on',
};
const AIR = '800 kPa';
/** Of tires whose target the truck file leaves out. */
const TIRE_KPA = 700;
const TIRE_EVERY_MS = 10_000;

type Wrong = (key: keyof GivenText, text: string, hint: string) => void;

/** What is sent where no series tells otherwise: constants. */
export function defaultSeries(truck: TestTruck, given: GivenText, wrong: Wrong): Series[] {
  const constant = (subject: string, quantity: QuantityName, value: Value, everyMs = 1000): Series => ({
    ...{ subject, quantity, values: [value], everyMs, fromMs: 0 },
  });
  const parsed = (key: keyof GivenText, text: string, quantity: QuantityName, targetKpa: number | null): Value => {
    const { value, complaint } = parseValue(text, quantity, targetKpa);
    if (complaint === undefined) return value;
    wrong(key, complaint.text, complaint.hint);
    return 'none';
  };
  const { coldReferenceC, depotAirKpa } = truck.config;
  const outside = { ambient: coldReferenceC, barometer: depotAirKpa };
  const all: Series[] = GIVEN_TRUCK.map((name) => {
    const text = given[name] ?? HEALTHY[name];
    const value = text === null ? outside[name as keyof typeof outside] : parsed(name, text, name, null);
    return constant('truck', name, value);
  });
  const { tires = 'target', temperatures = `${coldReferenceC} °C`, air = AIR, brakes = 'ok' } = given;
  for (const { subject, coldPressureKpa } of truck.subjects.tires) {
    const target = coldPressureKpa ?? TIRE_KPA;
    const kpa = tires === 'target' ? target : parsed('tires', tires, 'pressure', target);
    all.push(constant(subject, 'pressure', kpa, TIRE_EVERY_MS));
    all.push(
      constant(subject, 'temperature', parsed('temperatures', temperatures, 'temperature', null), TIRE_EVERY_MS),
    );
  }
  const kpa = parsed('air', air, 'pressure', null);
  for (const subject of ['air/primary', 'air/secondary']) all.push(constant(subject, 'pressure', kpa));
  const status = parsed('brakes', brakes, 'strokeStatus', null);
  for (const subject of truck.subjectsOf('strokeStatus')) all.push(constant(subject, 'strokeStatus', status));
  return all;
}
