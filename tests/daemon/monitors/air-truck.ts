import { readFileSync } from 'node:fs';
import { Drive, truck } from './drive.js';

/** Trucks of several sizes and what they do at a standstill, for the slow air rules. */

const example = (name: string): string =>
  readFileSync(new URL(`../../../config/examples/${name}.yaml`, import.meta.url), 'utf8').replace(
    /^rules:\n(?: .*\n)+/m,
    '',
  );

const trailer = (unit: string): string => `  ${unit}:
    axles:
      - {kind: trailer, tires: dual, coldPressure: 100 psi}
`;
const dolly = trailer('dolly');

export type Size = 'one' | 'two' | 'three' | 'bus';

/** A truck alone, a combination of two and of three vehicles (the dolly is none), a coach. */
export function sized(size: Size, rules = ''): Drive {
  const yaml = {
    one: () => example('T-208').replace(/^signals:\n(?: .*\n)+/m, ''),
    two: () => example('T-1042'),
    three: () => example('T-1042').replace('\n# Tire senders', `${dolly}${trailer('trailer-2')}\n# Tire senders`),
    bus: () => example('B-31'),
  }[size]();
  const d = new Drive(truck(rules === '' ? '' : `rules:\n  ${rules}`, () => yaml));
  for (const wheel of Object.values(d.wheels)) wheel.speaks = false;
  return d;
}

/** Standing with the parking brake set, engine off unless it is said otherwise, tanks at 860 kPa. */
export function standing(size: Size, change: Partial<Drive['world']> = {}, rules = ''): Drive {
  const d = sized(size, rules);
  Object.assign(d.world, { rpm: 0, kmh: 0, parked: 1, primary: 860, secondary: 860, ...change });
  return d;
}

/** For so many seconds both circuits fall, the primary and the secondary, by so many kPa a minute. */
export function leak(d: Drive, seconds: number, primary: number, secondary = 0): Drive {
  const from = { primary: d.world.primary!, secondary: d.world.secondary! };
  return d.run(seconds, (s) => {
    d.world.primary = from.primary - (primary * s) / 60;
    d.world.secondary = from.secondary - (secondary * s) / 60;
  });
}

/** Somebody fills the tanks and touches the brakes: the next piece has to settle anew. */
export function refill(d: Drive, kpa = 860): Drive {
  Object.assign(d.world, { primary: kpa, secondary: kpa, pedal: 30 });
  d.run(3);
  d.world.pedal = d.world.brakeKpa! > 0 ? 30 : 0;
  return d;
}
