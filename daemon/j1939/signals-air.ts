import type { Codes, Group } from './signal.js';
import { ACTIVE, NO_TEXT, number, state, WARNING } from './signal.js';

const INHIBITED: Codes = { texts: { 0: 'release allowed', 1: 'release inhibited' } };

export const AIR_GROUPS: readonly Group[] = [
  {
    pgn: 65198,
    acronym: 'AIR1',
    name: 'Air Supply Pressure',
    length: 8,
    intervalMs: 1000,
    signals: [
      number(46, 'Pneumatic Supply Pressure', 0, 8, 8, 0, 'kPa', 'B'),
      number(1086, 'Parking and/or Trailer Air Pressure', 8, 8, 8, 0, 'kPa', 'B'),
      number(1087, 'Service Brake Circuit 1 Air Pressure', 16, 8, 8, 0, 'kPa', 'B'),
      number(1088, 'Service Brake Circuit 2 Air Pressure', 24, 8, 8, 0, 'kPa', 'B'),
      number(1089, 'Auxiliary Equipment Supply Pressure', 32, 8, 8, 0, 'kPa', 'B'),
      number(1090, 'Air Suspension Supply Pressure 1', 40, 8, 8, 0, 'kPa', 'B'),
      state(1351, 'Air Compressor Status', 48, 2, ACTIVE, 'B'),
      number(6305, 'Powertrain Circuit Air Supply Pressure', 56, 8, 8, 0, 'kPa', 'C+'),
    ],
  },
  {
    pgn: 65274,
    acronym: 'B1',
    name: 'Brakes 1',
    length: 8,
    intervalMs: 1000,
    signals: [
      number(116, 'Brake Application Pressure', 0, 8, 4, 0, 'kPa', 'B'),
      number(117, 'Brake Primary Pressure', 8, 8, 4, 0, 'kPa', 'B'),
      number(118, 'Brake Secondary Pressure', 16, 8, 4, 0, 'kPa', 'B'),
      state(619, 'Parking Brake Actuator', 24, 2, ACTIVE, 'B'),
      state(3557, 'Parking Brake Red Warning Signal', 26, 2, WARNING, 'B'),
      state(3808, 'Park Brake Release Inhibit Status', 28, 2, INHIBITED, 'B'),
    ],
  },
  {
    pgn: 61712,
    acronym: 'B2',
    name: 'Brakes 2',
    length: 8,
    intervalMs: 1000,
    signals: [
      number(8484, 'Demanded Brake Application Pressure', 0, 16, 0.1, 0, 'kPa', 'B'),
      state(603, 'Brake Pedal Switch 2', 16, 2, NO_TEXT, 'B'),
    ],
  },
];
