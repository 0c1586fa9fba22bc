import { describe, expect, it } from 'vitest';
import { Drive, LOCATIONS } from './drive.js';

const WHEEL = 'tractor/2/left/outer';

/** So many frames with these values ten seconds apart, after a healthy minute; then sound ones. */
function faulty(also: Record<number, number>, frames: number, sound = 0): Drive {
  const d = new Drive();
  d.run(60);
  d.wheel(WHEEL).also = also;
  d.run(10 * frames);
  d.wheel(WHEEL).also = {};
  return d.run(10 * sound);
}

/** Raw bytes behind the location, instead of what the sensor says. */
function raw(frames: number, ...bytes: number[]): Drive {
  const d = new Drive();
  d.run(60);
  d.wheel(WHEEL).speaks = false;
  return d.run(10 * frames, (s) => {
    if (s % 10 === 2) d.send(65268, 51, Uint8Array.of(LOCATIONS[WHEEL]!, ...bytes));
  });
}
const REST = [0xff, 0xff, 0xff, 0xff];
const told = (d: Drive) => d.of('tire-sensor-fault', WHEEL);
const measured = (d: Drive) => d.list('tire-sensor-fault')[0]?.measured;

describe('tire-sensor-fault: three frames in a row', () => {
  it.each([
    ['two frames', 2, 0, []],
    ['three', 3, 0, ['raised plan']],
    ['two sound frames do not end it', 3, 2, ['raised plan']],
    ['three do', 3, 3, ['raised plan', 'cleared plan']],
  ] as const)('SPN 1697 = 2 (electrical fault): %s', (_, frames, sound, expected) => {
    const d = faulty({ 1697: 2 }, frames, sound);
    expect(told(d)).toEqual(expected);
    if (expected.length > 0) expect(measured(d)).toEqual({ code: 2, text: 'sensor electrical fault' });
  });

  it('a sound frame between starts the count anew', () => {
    const d = faulty({ 1697: 2 }, 2, 1);
    d.wheel(WHEEL).also = { 1697: 2 };
    d.run(20);
    expect(told(d)).toEqual([]);
  });

  // J1939-71: 00 off, 01 on or not defined, 11 not available; only 10 is an error.
  it.each([0, 1, 3])('SPN 1697 = %d is no fault', (code) => {
    expect(told(faulty({ 1697: code }, 6))).toEqual([]);
  });
});

describe('what no tire has', () => {
  it.each([
    ['201 °C', { 242: 201 }, { code: (201 + 273) * 32, text: 'impossible temperature' }],
    ['−61 °C', { 242: -61 }, { code: (-61 + 273) * 32, text: 'impossible temperature' }],
    ['200 °C is hot', { 242: 200 }, undefined],
    ['−60 °C is cold', { 242: -60 }, undefined],
  ])('%s', (_, also, expected) => {
    expect(measured(faulty(also, 4))).toEqual(expected);
  });

  it.each([
    [1501, ['raised plan']],
    [1500, []],
  ])('%d kPa in TIRE2 (no road tire holds more than 1,500)', (kpa, expected) => {
    const d = new Drive();
    d.run(60);
    // SPN 6988: 1 kPa a step, two bytes.
    d.wheel(WHEEL).speaks = false;
    d.run(40, (s) => {
      if (s % 10 === 2) d.send(64578, 51, Uint8Array.of(LOCATIONS[WHEEL]!, kpa & 0xff, kpa >> 8, ...REST, 0xff));
    });
    expect(told(d)).toEqual(expected);
  });

  // J1939-71: 0xFE, 0xFE00 to 0xFEFF stand for an error.
  it.each([
    ['0xFE for the pressure', [0xfe, 0, 0x24], { code: 0xfe, text: 'error code in place of pressure' }],
    ['0xFE00 for the temperature', [172, 0, 0xfe], { code: 0xfe00, text: 'error code in place of temperature' }],
  ])('%s', (_, bytes, expected) => {
    expect(measured(raw(3, ...bytes, ...REST))).toEqual(expected);
  });
});

describe('frames that say nothing are no fault: they are silence', () => {
  it.each([
    ['not available', [0xff, 0xff, 0xff]],
    ['idle: 0 kPa with 0 °C', [0, 0x20, 0x22]],
    ['idle: 0 kPa with −273 °C', [0, 0, 0]],
  ])('%s', (_, bytes) => {
    expect(told(raw(6, ...bytes, ...REST))).toEqual([]);
  });

  it('and they do not end one', () => {
    const d = faulty({ 1697: 2 }, 3);
    d.wheel(WHEEL).speaks = false;
    d.run(60, (s) => {
      if (s % 10 === 2) d.send(65268, 51, Uint8Array.of(LOCATIONS[WHEEL]!, 0xff, 0xff, 0xff, ...REST));
    });
    expect(told(d)).toEqual(['raised plan']);
  });
});

it('silence makes it unsure and does not end it; it explains the silence', () => {
  const d = faulty({ 1697: 2 }, 3);
  d.wheel(WHEEL).speaks = false;
  d.run(400);
  expect(told(d)).toEqual(['raised plan', 'unsure plan']);
  const [fault] = d.list('tire-sensor-fault');
  expect(d.list('tire-sensor-silent').map((e) => [e.subject, e.cause])).toEqual([[WHEEL, fault!.alert]]);
});

it('survives a restart', () => {
  const d = faulty({ 1697: 2 }, 3);
  d.restart(60_000);
  d.run(60);
  expect(told(d)).toEqual(['raised plan', 'cleared plan']);
});
