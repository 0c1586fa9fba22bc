import type { Codes, Group } from './signal.js';
import { address, CONTROL, NO_TEXT, number, ON_OFF, PRESSED, state, WARNING } from './signal.js';

const STROKE: Codes = {
  texts: { 0: 'ok', 1: 'not applying', 2: 'over-stroke', 3: 'dragging', 6: 'sensor error', 7: 'not fitted' },
  exceptions: { 4: 'reserved', 5: 'reserved' },
};
const OPERATIONAL: Codes = { texts: { 0: 'not fully working', 1: 'fully working' } };
const TRAILER_ABS: Codes = { texts: { 0: 'passive', 1: 'active' }, exceptions: { 2: 'reserved' } };
const BRAKE_TEMPERATURE: Codes = { texts: { 0: 'no warning', 1: 'warning' }, exceptions: { 2: 'reserved' } };
const HALT_BRAKE: Codes = {
  texts: { 0: 'inactive', 1: 'active', 2: 'active, limited', 6: 'not working' },
  exceptions: { 3: 'reserved', 4: 'reserved', 5: 'reserved' },
};
const HILL_HOLDER: Codes = {
  texts: { 0: 'inactive', 1: 'active', 2: 'about to end', 6: 'not working' },
  exceptions: { 3: 'reserved', 4: 'reserved', 5: 'reserved' },
};
const IN_USE: Codes = { texts: { 0: 'idle', 1: 'in use' } };
const XBR_STATE: Codes = {
  texts: { 0: 'any demand taken', 1: 'top priority only', 2: 'no demand taken' },
  exceptions: { 2: 'good' },
};
const XBR_MODE: Codes = {
  texts: { 0: 'no demand', 1: 'driver', 2: 'added to driver', 3: 'greater of both' },
  exceptions: Object.fromEntries([4, 5, 6, 7, 8, 9, 10, 11, 12, 13].map((raw) => [raw, 'reserved' as const])),
};
const PARKING_APPLIED: Codes = { texts: { 0: 'not fully applied', 1: 'fully applied' } };

export const BRAKE_GROUPS: readonly Group[] = [
  {
    pgn: 64881,
    acronym: 'BSA',
    name: 'Brake actuator stroke status',
    length: 8,
    intervalMs: 1000,
    signals: [
      state(3785, 'Tractor Brake Stroke Axle 1 Left', 0, 3, STROKE, 'C+'),
      state(3786, 'Tractor Brake Stroke Axle 1 Right', 3, 3, STROKE, 'C+'),
      state(3787, 'Tractor Brake Stroke Axle 2 Left', 6, 3, STROKE, 'C+'),
      state(3788, 'Tractor Brake Stroke Axle 2 Right', 9, 3, STROKE, 'C+'),
      state(3789, 'Tractor Brake Stroke Axle 3 Left', 12, 3, STROKE, 'C+'),
      state(3790, 'Tractor Brake Stroke Axle 3 Right', 15, 3, STROKE, 'C+'),
      state(3791, 'Tractor Brake Stroke Axle 4 Left', 18, 3, STROKE, 'C+'),
      state(3792, 'Tractor Brake Stroke Axle 4 Right', 21, 3, STROKE, 'C+'),
      state(3793, 'Tractor Brake Stroke Axle 5 Left', 24, 3, STROKE, 'C+'),
      state(3794, 'Tractor Brake Stroke Axle 5 Right', 27, 3, STROKE, 'C+'),
      state(3795, 'Trailer Brake Stroke Axle 1 Left', 30, 3, STROKE, 'C+'),
      state(3796, 'Trailer Brake Stroke Axle 1 Right', 33, 3, STROKE, 'C+'),
      state(3797, 'Trailer Brake Stroke Axle 2 Left', 36, 3, STROKE, 'C+'),
      state(3798, 'Trailer Brake Stroke Axle 2 Right', 39, 3, STROKE, 'C+'),
      state(3799, 'Trailer Brake Stroke Axle 3 Left', 42, 3, STROKE, 'C+'),
      state(3800, 'Trailer Brake Stroke Axle 3 Right', 45, 3, STROKE, 'C+'),
      state(3801, 'Trailer Brake Stroke Axle 4 Left', 48, 3, STROKE, 'C+'),
      state(3802, 'Trailer Brake Stroke Axle 4 Right', 51, 3, STROKE, 'C+'),
      state(3803, 'Trailer Brake Stroke Axle 5 Left', 54, 3, STROKE, 'C+'),
      state(3804, 'Trailer Brake Stroke Axle 5 Right', 57, 3, STROKE, 'C+'),
    ],
  },
  {
    pgn: 61441,
    acronym: 'EBC1',
    name: 'Electronic Brake Controller 1',
    length: 8,
    intervalMs: 100,
    signals: [
      state(561, 'ASR Engine Control Active', 0, 2, CONTROL, 'B'),
      state(562, 'ASR Brake Control Active', 2, 2, CONTROL, 'B'),
      state(563, 'Anti-Lock Braking (ABS) Active', 4, 2, CONTROL, 'A'),
      state(1121, 'EBS Brake Switch', 6, 2, PRESSED, 'B'),
      number(521, 'Brake Pedal Position', 8, 8, 0.4, 0, '%', 'B'),
      state(575, 'ABS Off-road Switch', 16, 2, ON_OFF, 'B'),
      state(576, 'ASR Off-road Switch', 18, 2, ON_OFF, 'B'),
      state(577, 'ASR "Hill Holder" Switch', 20, 2, ON_OFF, 'B'),
      state(1238, 'Traction Control Override Switch', 22, 2, ON_OFF, 'B'),
      state(972, 'Accelerator Interlock Switch', 24, 2, ON_OFF, 'B'),
      state(971, 'Engine Derate Switch', 26, 2, ON_OFF, 'B'),
      state(970, 'Engine Auxiliary Shutdown Switch', 28, 2, ON_OFF, 'B'),
      state(969, 'Remote Accelerator Enable Switch', 30, 2, ON_OFF, 'B'),
      number(973, 'Engine Retarder Selection', 32, 8, 0.4, 0, '%', 'B'),
      state(1243, 'ABS Fully Operational', 40, 2, OPERATIONAL, 'A'),
      state(1439, 'EBS Red Warning Signal', 42, 2, WARNING, 'B'),
      state(1438, 'ABS/EBS Amber Warning Signal (Powered Vehicle)', 44, 2, WARNING, 'A'),
      state(1793, 'ATC/ASR Information Signal', 46, 2, WARNING, 'B'),
      address(1481, 'Source Address of Controlling Device for Brake Control', 48, 'B'),
      state(7941, 'Railroad Mode Switch', 56, 2, ON_OFF, 'B'),
      state(2911, 'Halt brake switch', 58, 2, ON_OFF, 'B'),
      state(1836, 'Trailer ABS Status', 60, 2, TRAILER_ABS, 'B'),
      state(1792, 'Tractor-Mounted Trailer ABS Warning Signal', 62, 2, WARNING, 'B'),
    ],
  },
  {
    pgn: 65215,
    acronym: 'EBC2',
    name: 'Wheel Speed Information',
    length: 8,
    intervalMs: 100,
    signals: [
      number(904, 'Front Axle Speed', 0, 16, 0.00390625, 0, 'km/h', 'B'),
      number(905, 'Relative Speed; Front Axle, Left Wheel', 16, 8, 0.0625, -7.8125, 'km/h', 'B'),
      number(906, 'Relative Speed; Front Axle, Right Wheel', 24, 8, 0.0625, -7.8125, 'km/h', 'B'),
      number(907, 'Relative Speed; Rear Axle #1, Left Wheel', 32, 8, 0.0625, -7.8125, 'km/h', 'B'),
      number(908, 'Relative Speed; Rear Axle #1, Right Wheel', 40, 8, 0.0625, -7.8125, 'km/h', 'B'),
      number(909, 'Relative Speed; Rear Axle #2, Left Wheel', 48, 8, 0.0625, -7.8125, 'km/h', 'B'),
      number(910, 'Relative Speed; Rear Axle #2, Right Wheel', 56, 8, 0.0625, -7.8125, 'km/h', 'B'),
    ],
  },
  {
    pgn: 65197,
    acronym: 'EBC3',
    name: 'Wheel Application Pressure High Range Information',
    length: 8,
    intervalMs: 100,
    signals: [
      number(1091, 'Brake Application Pressure High Range, Front Axle, Left Wheel', 0, 8, 5, 0, 'kPa', 'C+'),
      number(1092, 'Brake Application Pressure High Range, Front Axle, Right Wheel', 8, 8, 5, 0, 'kPa', 'C+'),
      number(1093, 'Brake Application Pressure High Range, Rear Axle #1, Left Wheel', 16, 8, 5, 0, 'kPa', 'C+'),
      number(1094, 'Brake Application Pressure High Range, Rear Axle #1, Right Wheel', 24, 8, 5, 0, 'kPa', 'C+'),
      number(1095, 'Brake Application Pressure High Range, Rear Axle #2, Left Wheel', 32, 8, 5, 0, 'kPa', 'C+'),
      number(1096, 'Brake Application Pressure High Range, Rear Axle #2, Right Wheel', 40, 8, 5, 0, 'kPa', 'C+'),
      number(1097, 'Brake Application Pressure High Range, Rear Axle #3, Left Wheel', 48, 8, 5, 0, 'kPa', 'C+'),
      number(1098, 'Brake Application Pressure High Range, Rear Axle #3, Right Wheel', 56, 8, 5, 0, 'kPa', 'C+'),
    ],
  },
  {
    pgn: 65196,
    acronym: 'EBC4',
    name: 'Wheel Brake Lining Remaining Information',
    length: 8,
    intervalMs: null,
    signals: [
      number(1099, 'Brake Lining Remaining, Front Axle, Left Wheel', 0, 8, 0.4, 0, '%', 'C+'),
      number(1100, 'Brake Lining Remaining, Front Axle, Right Wheel', 8, 8, 0.4, 0, '%', 'C+'),
      number(1101, 'Brake Lining Remaining, Rear Axle #1, Left Wheel', 16, 8, 0.4, 0, '%', 'C+'),
      number(1102, 'Brake Lining Remaining, Rear Axle #1, Right Wheel', 24, 8, 0.4, 0, '%', 'C+'),
      number(1103, 'Brake Lining Remaining, Rear Axle #2, Left Wheel', 32, 8, 0.4, 0, '%', 'C+'),
      number(1104, 'Brake Lining Remaining, Rear Axle #2, Right Wheel', 40, 8, 0.4, 0, '%', 'C+'),
      number(1105, 'Brake Lining Remaining, Rear Axle #3, Left Wheel', 48, 8, 0.4, 0, '%', 'C+'),
      number(1106, 'Brake Lining Remaining, Rear Axle #3, Right Wheel', 56, 8, 0.4, 0, '%', 'C+'),
    ],
  },
  {
    pgn: 64964,
    acronym: 'EBC5',
    name: 'Electronic Brake Controller 5',
    length: 8,
    intervalMs: 100,
    signals: [
      state(3839, 'Brake Temperature Warning', 0, 2, BRAKE_TEMPERATURE, 'B'),
      state(2913, 'Halt brake mode', 2, 3, HALT_BRAKE, 'B'),
      state(2912, 'Hill holder mode', 5, 3, HILL_HOLDER, 'B'),
      state(2919, 'Foundation Brake Use', 8, 2, IN_USE, 'B'),
      state(2917, 'XBR System State', 10, 2, XBR_STATE, 'B'),
      state(2918, 'XBR Active Control Mode', 12, 4, XBR_MODE, 'B'),
      number(2921, 'XBR Acceleration Limit', 16, 8, 0.1, -12.5, 'm/s²', 'B'),
      state(5275, 'Parking Brake Actuator Fully Activated', 24, 2, PARKING_APPLIED, 'B'),
      state(5847, 'Emergency Braking Active', 26, 2, NO_TEXT, 'B'),
      state(7942, 'Railroad Mode', 28, 2, NO_TEXT, 'C+'),
      state(15264, 'XBR Brake Hold Mode', 32, 4, NO_TEXT, 'C'),
    ],
  },
  {
    pgn: 65134,
    acronym: 'HRW',
    name: 'High Resolution Wheel Speed',
    length: 8,
    intervalMs: 20,
    signals: [
      number(1592, 'Front Axle, Left Wheel Speed', 0, 16, 0.00390625, 0, 'km/h', 'B'),
      number(1593, 'Front axle, right wheel speed', 16, 16, 0.00390625, 0, 'km/h', 'B'),
      number(1594, 'Rear axle, left wheel speed', 32, 16, 0.00390625, 0, 'km/h', 'B'),
      number(1595, 'Rear axle, right wheel speed', 48, 16, 0.00390625, 0, 'km/h', 'B'),
    ],
  },
];
