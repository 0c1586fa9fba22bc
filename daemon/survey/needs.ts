import type { RuleName } from '../../config/resolved.js';

/** Something that a rule's monitor reads. */
export type Need =
  | {
      kind: 'signal';
      what: string;
      /** Any of them will do. */
      spns: readonly number[];
      /** Subjects of extra signals (truck file) that will do as well. */
      subjects?: readonly string[];
    }
  | { kind: 'tire'; what: string; quantity: 'pressure' | 'temperature' | 'frames' }
  | { kind: 'brake'; what: string; quantity: 'status' | 'stroke' }
  /** What a person writes into the truck file. */
  | { kind: 'file'; what: string; key: 'coldPressure' | 'chamber' | 'duals' | 'sixTires' | 'trailer' };

export interface RuleNeeds {
  /** It is judged when all needs of one of these are met. */
  ways: readonly (readonly Need[])[];
  /** What makes it better, and what it is like without. */
  helps?: readonly { need: Need; without: string }[];
}

/** By SPN: what a value can be where a truck is, as daemon/intake.ts has it. Others are no reading. */
export const BOUNDS: Readonly<Record<number, readonly [least: number, most: number]>> = {
  108: [45, 115],
  171: [-60, 70],
};

const signal = (what: string, spns: readonly number[], more: { subjects?: readonly string[] } = {}): Need => ({
  kind: 'signal',
  what,
  spns,
  ...more,
});

const CHAMBERS = [1091, 1092, 1093, 1094, 1095, 1096, 1097, 1098];
const APPLIED = [116, 8484, ...CHAMBERS];
const SPEEDS = [84, 1592, 1593, 1594, 1595, 1624, 917];

const SPEED = signal('speed', SPEEDS);
const ENGINE = signal('engine speed', [190]);
const AWAKE = signal('engine speed or speed', [190, ...SPEEDS]);
const BRAKING = signal('brake pedal, brake switch or application pressure', [521, 597, ...APPLIED]);
const APPLICATION = signal('brake application pressure', APPLIED);
const PARKING = signal('parking brake', [70, 619]);
const PRIMARY = signal('primary circuit pressure', [117, 1087], { subjects: ['air/primary'] });
const SECONDARY = signal('secondary circuit pressure', [118, 1088], { subjects: ['air/secondary'] });
const CIRCUIT = signal('a service circuit pressure', [117, 118, 1087, 1088], {
  subjects: ['air/primary', 'air/secondary'],
});
const PUMPING = signal('compressor status, or a supply or service pressure', [1351, 46, 117, 118, 1087, 1088], {
  subjects: ['air/supply', 'air/primary', 'air/secondary'],
});
const COMPRESSOR = signal('compressor status', [1351]);
const SUPPLY = signal('supply pressure', [46], { subjects: ['air/supply'] });
const SUSPENSION = signal('air suspension pressure', [1090]);
const BAROMETER = signal('barometric pressure', [108]);
const LININGS = signal('lining left', [1099, 1100, 1101, 1102, 1103, 1104, 1105, 1106]);
const BRAKE_TEMPERATURE = signal('brake temperature warning', [3839]);
const SENSOR_FAULT = signal('tire sensor fault', [1697]);

const PRESSURE: Need = { kind: 'tire', what: 'tire pressure', quantity: 'pressure' };
const TEMPERATURE: Need = { kind: 'tire', what: 'tire temperature', quantity: 'temperature' };
const TIRE_FRAMES: Need = { kind: 'tire', what: 'tire messages', quantity: 'frames' };
const STATUS: Need = { kind: 'brake', what: 'stroke status', quantity: 'status' };
const STROKE: Need = { kind: 'brake', what: 'measured stroke', quantity: 'stroke' };
const COLD: Need = { kind: 'file', what: 'coldPressure', key: 'coldPressure' };
const CHAMBER: Need = { kind: 'file', what: 'chamber', key: 'chamber' };
const DUALS: Need = { kind: 'file', what: 'an axle with dual tires', key: 'duals' };
const SIX: Need = { kind: 'file', what: 'at least six tires', key: 'sixTires' };
const TRAILER: Need = { kind: 'file', what: 'a trailer', key: 'trailer' };

const NO_BAROMETER = { need: BAROMETER, without: 'the air pressure of depotAltitude is taken everywhere' };
const PUMPING_TOLD = { need: COMPRESSOR, without: 'pumping is told by rising pressure' };
const PARKING_USES = { need: PARKING, without: 'air that the spring brakes take is not told from other falls' };
const GOVERNOR_HELPS = [
  PUMPING_TOLD,
  PARKING_USES,
  { need: SUPPLY, without: 'the higher service circuit is taken for what the governor sees' },
];
const STROKES_NEEDED: readonly (readonly Need[])[] = [
  [STATUS, BRAKING],
  [STROKE, APPLICATION, CHAMBER],
];
const STATUS_HELPS = [
  {
    need: APPLICATION,
    without: 'how hard the brakes are applied is not known: 1.5 s of pedal or switch count as an application',
  },
];

/**
 * What each rule reads, as its monitor has it (daemon/monitors) or, for one that this version does not judge yet, as its
 * description in config/defaults.yaml asks for.
 */
export const NEEDS: Readonly<Record<RuleName, RuleNeeds>> = {
  'tire-underinflated': {
    ways: [[PRESSURE, COLD]],
    helps: [
      { need: TEMPERATURE, without: 'only what is low for certain is found, and nothing is cleared' },
      NO_BAROMETER,
    ],
  },
  'tire-losing-air': {
    ways: [[PRESSURE]],
    helps: [
      { need: TEMPERATURE, without: 'raw pressure alone is judged, and no slow leak over days is found' },
      { need: COLD, without: 'no forecast of when the tire is 20 % low' },
      { need: SPEED, without: 'no burst is told from a sensor that fell silent' },
      NO_BAROMETER,
    ],
  },
  'tire-overinflated': { ways: [[PRESSURE, TEMPERATURE, COLD]], helps: [NO_BAROMETER] },
  'tire-hot': { ways: [[TEMPERATURE]] },
  'duals-unequal': {
    ways: [[PRESSURE, DUALS]],
    helps: [{ need: TEMPERATURE, without: 'raw pressures alone are compared' }],
  },
  'tire-sensor-silent': {
    ways: [[SPEED]],
    helps: [{ need: TIRE_FRAMES, without: 'one alert says that no tire is heard' }],
  },
  'tire-sensor-fault': {
    ways: [[TIRE_FRAMES]],
    helps: [{ need: SENSOR_FAULT, without: 'only error codes and impossible values tell' }],
  },
  'layout-mismatch': { ways: [[TIRE_FRAMES]] },
  'trailer-not-seen': { ways: [[TRAILER, TIRE_FRAMES, SPEED]] },
  'tires-off-target': { ways: [[PRESSURE, TEMPERATURE, COLD, SIX]], helps: [NO_BAROMETER] },
  'brake-overstroke': { ways: STROKES_NEEDED, helps: STATUS_HELPS },
  'brake-dragging': {
    ways: [
      [STATUS, BRAKING, PARKING, SPEED],
      [STROKE, BRAKING, PARKING, SPEED],
    ],
    helps: [{ need: TEMPERATURE, without: 'heat cannot make it a pull-over' }],
  },
  'brake-not-applying': {
    ways: [
      [STATUS, BRAKING],
      [STROKE, BRAKING],
    ],
    helps: STATUS_HELPS,
  },
  'brake-stroke-uneven': { ways: [[STROKE, BRAKING]], helps: STATUS_HELPS },
  'brake-stroke-growing': { ways: [[STROKE, APPLICATION, CHAMBER]] },
  'brake-lining-low': { ways: [[LININGS]] },
  'brake-hot': { ways: [[BRAKE_TEMPERATURE]] },
  'brakes-defective-share': { ways: STROKES_NEEDED },
  'brake-sensor-fault': { ways: [[STATUS]] },
  'air-low': {
    ways: [[CIRCUIT, AWAKE]],
    helps: [
      { need: PRIMARY, without: 'the secondary circuit alone is judged' },
      { need: SECONDARY, without: 'the primary circuit alone is judged' },
      { need: PARKING, without: 'it is not held back while empty tanks are filled' },
    ],
  },
  'air-leaking': {
    ways: [[CIRCUIT, SPEED, PARKING, BRAKING]],
    helps: [
      { need: PRIMARY, without: 'the secondary circuit alone is judged' },
      { need: SECONDARY, without: 'the primary circuit alone is judged' },
      { need: APPLICATION, without: 'leaks with the brakes applied are not found' },
      { need: ENGINE, without: 'tests with the parking brake released count with the brakes held fully only' },
      PUMPING_TOLD,
      { need: SUSPENSION, without: 'air that the suspension takes is not told from a leak' },
    ],
  },
  'air-builds-slowly': {
    ways: [[CIRCUIT, ENGINE, BRAKING]],
    helps: [PUMPING_TOLD, PARKING_USES],
  },
  'air-cut-in-low': { ways: [[PUMPING, BRAKING]], helps: GOVERNOR_HELPS },
  'air-cut-out-high': { ways: [[PUMPING, BRAKING]], helps: GOVERNOR_HELPS },
  'compressor-overworked': { ways: [[PUMPING, ENGINE]], helps: [PUMPING_TOLD] },
  'circuits-unequal': { ways: [[PRIMARY, SECONDARY, ENGINE]] },
  'fault-code': { ways: [[]] },
  'stop-lamp': { ways: [[ENGINE]] },
  'bus-silent': { ways: [[SPEED]] },
  'bus-off': { ways: [[]] },
  'source-silent': { ways: [[ENGINE]] },
  'test-message': { ways: [[]] },
};

/** Which truck, where and when; weather; the odometer. */
const SHOWN: readonly number[] = [237, 959, 960, 961, 962, 963, 964, 171, 584, 585, 917];
const TIRE_SIGNALS: readonly number[] = [241, 242, 1697, 1698, 2586, 2587, 6988, 6989, 6980, 3191];

/** SPNs that are told one by one: what a rule needs, and what helps people to know the truck. */
export const LISTED_SPNS: ReadonlySet<number> = new Set([
  ...Object.values(NEEDS).flatMap(({ ways, helps = [] }) =>
    [...ways.flat(), ...helps.map(({ need }) => need)].flatMap((need) => (need.kind === 'signal' ? need.spns : [])),
  ),
  ...SHOWN,
  ...TIRE_SIGNALS,
]);
