import { describe, expect, it } from 'vitest';
import { MAX_STRANGERS } from '../../../daemon/monitors/layout-mismatch.js';
import { Drive } from './drive.js';

const REST = [0xff, 0xff, 0xff, 0xff];
/** 688 kPa at 15 °C, as a tire says it. */
const TIRE = [172, 0, 0x24];

/** Frames of locations that the truck has not, for so long; then none for so long. */
function strange(
  seconds: number,
  {
    everyS = 10,
    after = 0,
    bytes = TIRE,
    at = [0x4e, 0x4f],
  }: Partial<Record<'everyS' | 'after', number>> & {
    bytes?: number[];
    at?: number[];
  } = {},
): Drive {
  const d = new Drive();
  d.run(60);
  d.run(seconds, (s) => {
    if (s % everyS === 3) for (const location of at) d.send(65268, 51, Uint8Array.of(location, ...bytes, ...REST));
  });
  return d.run(after);
}
const told = (d: Drive) => d.of('layout-mismatch');

describe('layout-mismatch: heard for 120 s, over when none was for two minutes and two more', () => {
  it('both sides of the delay', () => {
    expect(told(strange(126))).toEqual(['raised plan']);
    expect(told(strange(120))).toEqual([]);
  });

  it('both sides of its end', () => {
    // The last frame comes at 143 s: 120 s later none has been heard for two minutes.
    expect(told(strange(150, { after: 113 + 126 }))).toEqual(['raised plan', 'cleared plan']);
    expect(told(strange(150, { after: 113 + 116 }))).toEqual(['raised plan']);
  });

  it('a slow sensor, once a minute, is one as well', () => {
    expect(told(strange(400, { everyS: 60 }))).toEqual(['raised plan']);
  });

  it('a stray frame is no tire', () => {
    expect(told(strange(10, { after: 600 }))).toEqual([]);
  });
});

it('one alert for all of them; it names the first and counts the others, as many as are kept', () => {
  const [e, ...others] = strange(130).list('layout-mismatch');
  expect(others).toEqual([]);
  expect(e).toMatchObject({ subject: 'layout', kind: 'system', change: 'raised', urgency: 'plan' });
  expect(e!.measured).toEqual({ code: 0x4e, text: 'location 0x4E, source 51, bus main and 1 more' });
  const many = Array.from({ length: 30 }, (_, i) => 0x50 + i);
  const flood = strange(130, { at: many });
  expect(flood.pipeline.state.strangers.seen).toHaveLength(MAX_STRANGERS);
  expect(flood.list('layout-mismatch')).toHaveLength(1);
});

it.each([
  ['idle: 0 kPa with 0 °C', [0, 0x20, 0x22]],
  ['not available', [0xff, 0xff, 0xff]],
  ['an error code', [0xfe, 0, 0x24]],
])('what a receiver says of its empty places is no tire: %s', (_, bytes) => {
  expect(told(strange(300, { bytes }))).toEqual([]);
});

it('the location 0xFF is nobody', () => {
  expect(told(strange(300, { at: [0xff] }))).toEqual([]);
});

it('silence of the whole bus clears nothing', () => {
  const d = strange(150);
  d.world.kmh = 0;
  d.run(5);
  d.rest(1800);
  expect(told(d)).toEqual(['raised plan']);
});
