import { addressName } from './name.js';

/** What a trouble code is about, where it is our business. */
export type FaultArea =
  | 'tire-pressure'
  | 'tire-temperature'
  | 'tire-sensor'
  | 'tire-leak'
  | 'tire-size'
  | 'tire-inflation'
  | 'brake-stroke'
  | 'brake-stroke-monitor'
  | 'brake-adjustment'
  | 'brake-lining'
  | 'brake-temperature'
  | 'brake-switch'
  | 'air-pressure'
  | 'abs'
  | 'network';

interface FaultRow {
  readonly first: number;
  readonly last: number;
  readonly area: FaultArea;
  /** By the place of the SPN in the row, from 0. */
  readonly text: (n: number) => string;
}

const side = (n: number) => `axle ${(n >>> 1) + 1} ${n % 2 === 0 ? 'left' : 'right'}`;
const frontAndRear = (n: number) =>
  `${n < 2 ? 'front axle' : `rear axle ${n >>> 1}`} ${n % 2 === 0 ? 'left' : 'right'}`;

function one(spn: number, area: FaultArea, text: string): FaultRow {
  return { first: spn, last: spn, area, text: () => text };
}

function many(first: number, last: number, area: FaultArea, text: (n: number) => string): FaultRow {
  return { first, last, area, text };
}

/**
 * The diagnostic SPNs for tires, brakes and air, numbers from open transcriptions, words ours. Wheel order of 789…800 and
 * of 819…828 is common practice and not confirmed, so the latter carry no wheel.
 */
const ROWS: readonly FaultRow[] = [
  one(241, 'tire-pressure', 'tire pressure'),
  many(7113, 7152, 'tire-pressure', (n) => `pressure of tire ${n + 1}`),
  one(242, 'tire-temperature', 'tire temperature'),
  many(7153, 7192, 'tire-temperature', (n) => `temperature of tire ${n + 1}`),
  one(1697, 'tire-sensor', 'tire sensor'),
  many(7273, 7312, 'tire-sensor', (n) => `sensor of tire ${n + 1}`),
  one(1698, 'tire-leak', 'tire leak'),
  one(2586, 'tire-leak', 'tire leak rate'),
  many(7233, 7272, 'tire-leak', (n) => `leak of tire ${n + 1}`),
  one(1069, 'tire-size', 'tire size supervision'),
  one(843, 'tire-inflation', 'tire inflation panel'),
  one(844, 'tire-inflation', 'tire inflation control unit'),
  many(845, 850, 'tire-inflation', (n) => `tire inflation solenoid ${n + 1}`),
  one(851, 'tire-inflation', 'tire inflation, steer channel'),
  one(852, 'tire-inflation', 'tire inflation, drive channel'),
  one(853, 'tire-inflation', 'tire inflation, trailer or tag channel'),
  many(3785, 3794, 'brake-stroke', (n) => `brake stroke, tractor ${side(n)}`),
  many(3795, 3804, 'brake-stroke', (n) => `brake stroke, trailer ${side(n)}`),
  one(3805, 'brake-stroke-monitor', 'brake stroke monitor, tractor'),
  one(3806, 'brake-stroke-monitor', 'brake stroke monitor, trailer'),
  many(819, 822, 'brake-adjustment', () => 'slack adjustment, trailer'),
  many(823, 828, 'brake-adjustment', () => 'slack adjustment, tractor'),
  many(1060, 1065, 'brake-lining', (n) => `brake lining sensor ${n + 1}`),
  many(1099, 1106, 'brake-lining', (n) => `brake lining, ${frontAndRear(n)}`),
  one(2620, 'brake-lining', 'brake lining'),
  one(3839, 'brake-temperature', 'brake temperature'),
  many(1045, 1046, 'brake-switch', (n) => `brake light switch ${n + 1}`),
  many(1047, 1048, 'brake-switch', () => 'brake control'),
  one(1049, 'brake-switch', 'axle brake pressure sensor 1'),
  many(1050, 1051, 'brake-switch', () => 'brake control'),
  one(1052, 'brake-switch', 'axle brake pressure sensor 2'),
  many(1053, 1054, 'brake-switch', () => 'brake control'),
  one(1055, 'brake-switch', 'axle brake pressure sensor 3'),
  many(1056, 1057, 'brake-switch', () => 'brake control'),
  one(1058, 'brake-switch', 'trailer brake pressure sensor'),
  many(1066, 1068, 'brake-switch', (n) => `brake signal ${n + 1}`),
  one(46, 'air-pressure', 'air supply pressure'),
  one(116, 'air-pressure', 'brake application pressure'),
  one(117, 'air-pressure', 'primary air pressure'),
  one(118, 'air-pressure', 'secondary air pressure'),
  one(1086, 'air-pressure', 'parking or trailer air pressure'),
  one(1087, 'air-pressure', 'air pressure, service circuit 1'),
  one(1088, 'air-pressure', 'air pressure, service circuit 2'),
  one(1089, 'air-pressure', 'auxiliary air pressure'),
  one(1090, 'air-pressure', 'suspension air pressure'),
  one(2649, 'air-pressure', 'low air pressure'),
  many(789, 794, 'abs', (n) => `ABS wheel sensor, ${side(n)}`),
  many(795, 800, 'abs', (n) => `ABS modulator, ${side(n)}`),
  many(813, 815, 'abs', (n) => `ABS axle speed ${n + 1}`),
  one(816, 'abs', 'ABS relay valve'),
  one(817, 'abs', 'ABS transducer'),
  one(818, 'abs', 'ABS master relay'),
  one(639, 'network', 'primary data network'),
  many(2000, 2253, 'network', (sa) => `no messages from ${addressName(sa) ?? 'a unit'} (address ${sa})`),
];

const rowOf = (spn: number) => ROWS.find((row) => spn >= row.first && spn <= row.last);

/** null: none of our business. */
export function faultArea(spn: number): FaultArea | null {
  return rowOf(spn)?.area ?? null;
}

/** Short words for an SPN of one of the areas, else null. */
export function faultText(spn: number): string | null {
  const row = rowOf(spn);
  return row ? row.text(spn - row.first) : null;
}

/** Every SPN that has an area, ascending within each row. */
export function faultRows(): readonly { readonly first: number; readonly last: number; readonly area: FaultArea }[] {
  return ROWS;
}
