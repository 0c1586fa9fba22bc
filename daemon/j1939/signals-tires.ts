import type { Codes, Group } from './signal.js';
import { location, number, state } from './signal.js';

const SENSOR_ENABLE: Codes = {
  texts: { 0: 'off', 1: 'polled', 3: 'not supported' },
  exceptions: { 2: 'reserved' },
};
const TIRE_STATUS: Codes = { texts: { 0: 'ok', 1: 'leak found', 3: 'not supported' } };
/** Code 1 has no published meaning and must not pass for "ok". */
const SENSOR_FAULT: Codes = { texts: { 0: 'no fault', 3: 'not supported' }, exceptions: { 1: 'reserved' } };
const EXTENDED_PRESSURE: Codes = { texts: { 0: 'not used', 1: 'pressure is in TIRE2' } };
/** Runs from high to low: 2 is the healthy one, not 0. */
const PRESSURE_THRESHOLD: Codes = {
  texts: { 0: 'far too high', 1: 'too high', 2: 'no warning', 3: 'too low', 4: 'far too low' },
  exceptions: { 5: 'reserved' },
};

export const TIRE_GROUPS: readonly Group[] = [
  {
    pgn: 65268,
    acronym: 'TIRE1',
    name: 'Tire Condition Message 1',
    length: 8,
    intervalMs: 10_000,
    signals: [
      location(929, 'Tire Location', 0, 'A'),
      number(241, 'Tire Pressure', 8, 8, 4, 0, 'kPa', 'A'),
      number(242, 'Tire Temperature', 16, 16, 0.03125, -273, '°C', 'A'),
      state(1699, 'Tire Sensor Enable Status', 32, 2, SENSOR_ENABLE, 'B'),
      state(1698, 'Tire Status', 34, 2, TIRE_STATUS, 'B'),
      state(1697, 'Tire Sensor Electrical Fault', 36, 2, SENSOR_FAULT, 'B'),
      state(6990, 'Extended Tire Pressure Support', 38, 2, EXTENDED_PRESSURE, 'C+'),
      number(2586, 'Tire Air Leakage Rate', 40, 16, 0.1, 0, 'Pa/s', 'B'),
      state(2587, 'Tire Pressure Threshold Detection', 61, 3, PRESSURE_THRESHOLD, 'B'),
    ],
  },
  {
    pgn: 64578,
    acronym: 'TIRE2',
    name: 'Tire Condition Message 2',
    length: 8,
    intervalMs: 10_000,
    signals: [
      location(6987, 'Tire Location', 0, 'C+'),
      number(6988, 'Tire Pressure (Extended Range)', 8, 16, 1, 0, 'kPa', 'C+'),
      number(6989, 'Required Tire Pressure', 24, 16, 1, 0, 'kPa', 'C+'),
    ],
  },
  {
    pgn: 64579,
    acronym: 'TCSI',
    name: 'Tire Configuration Status Information',
    length: 8,
    intervalMs: null,
    signals: [
      location(6979, 'Tire Location', 0, 'C+'),
      number(6980, 'Cold Inflation Pressure', 8, 16, 1, 0, 'kPa', 'C+'),
      number(6981, 'Under Pressure Percentage Threshold', 24, 8, 0.5, 0, '%', 'C+'),
      number(6982, 'Extreme Under Pressure Percentage Threshold', 32, 8, 0.5, 0, '%', 'C+'),
      number(6983, 'Over Pressure Percentage Threshold', 40, 8, 0.5, 0, '%', 'C+'),
      number(6984, 'Over Temperature', 48, 8, 1, -40, '°C', 'C+'),
    ],
  },
  {
    pgn: 64953,
    acronym: 'TPRI',
    name: 'Tire Pressure Reference Information',
    length: 8,
    intervalMs: null,
    signals: [
      location(3190, 'Tire Location', 0, 'C+'),
      number(3191, 'Reference Tire Pressure', 8, 8, 8, 0, 'kPa', 'C+'),
    ],
  },
];
