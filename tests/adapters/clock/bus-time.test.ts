import { describe, expect, it } from 'vitest';
import { BusTime } from '../../../adapters/clock/bus-time.js';

const NOON = Date.parse('2026-03-02T12:00:00Z');
const HOUR = 3_600_000;

/** A run that began at noon. */
class Clock {
  t = 0;
  isSet = true;
  builtMs = NOON - 86_400_000;
  run = { zeroWallMs: NOON };
  streamNow = (): number => this.t;
}

const UNKNOWN = 0xff;

/** SAE J1939-71 Time/Date: seconds of 0.25 s, minutes, hours, month, quarters of the day from 1, years from 1985, local offsets. */
function timeDate(wallMs: number, offsetHours: number | null = 0): Uint8Array {
  const d = new Date(wallMs);
  return Uint8Array.of(
    4 * d.getUTCSeconds(),
    d.getUTCMinutes(),
    d.getUTCHours(),
    d.getUTCMonth() + 1,
    4 * (d.getUTCDate() - 1) + 1 + Math.floor(d.getUTCHours() / 6),
    d.getUTCFullYear() - 1985,
    offsetHours === null ? UNKNOWN : 125,
    offsetHours === null ? UNKNOWN : 125 + offsetHours,
  );
}

/** What the bus's clock says after n messages, one a second, that are so far ahead. */
function contradiction(n: number, aheadMs: number, offsetHours: number | null = 0, clock = new Clock()): number | null {
  const bus = new BusTime(clock);
  for (let i = 0; i < n; i++) {
    clock.t += 1000;
    bus.frame(timeDate(NOON + clock.t + aheadMs, offsetHours), 8);
  }
  return bus.contradictedByS;
}

describe('the clock on the bus', () => {
  it.each([
    [0, null],
    [60_000, null],
    [-60_000, null],
    [61_000, 61],
    [-61_000, -61],
    [13 * HOUR, 46_800],
    [-2 * HOUR, -7_200],
  ])('that is %i ms ahead contradicts by %s s', (aheadMs, seconds) => {
    expect(contradiction(5, aheadMs)).toBe(seconds);
  });

  it('needs five messages in a row, and one that agrees ends it', () => {
    expect(contradiction(4, HOUR)).toBeNull();
    const clock = new Clock();
    const bus = new BusTime(clock);
    for (let i = 0; i < 9; i++) bus.frame(timeDate(NOON + HOUR), 8);
    expect(bus.contradictedByS).toBe(3600);
    bus.frame(timeDate(NOON), 8);
    expect(bus.contradictedByS).toBeNull();
  });

  // Without the local offset the sender may well mean local time.
  it.each([
    [13 * HOUR, null],
    [-3.5 * HOUR, null],
    [HOUR + 50_000, null],
    [HOUR + 90_000, 3_690],
    [15 * HOUR, 54_000],
    [-48 * HOUR, null],
  ])('without a local offset, %i ms ahead, contradicts by %s s', (aheadMs, seconds) => {
    expect(contradiction(5, aheadMs, null)).toBe(seconds);
  });

  it('of a sender whose own clock was never set says nothing', () => {
    expect(contradiction(5, Date.parse('1985-01-01T00:00:00Z') - NOON)).toBeNull();
    expect(contradiction(5, Date.parse('2000-01-01T00:00:00Z') - NOON)).toBeNull();
  });

  it('says nothing while ours is not set, nor in parts', () => {
    const clock = new Clock();
    clock.isSet = false;
    expect(contradiction(9, HOUR, 0, clock)).toBeNull();
    const bus = new BusTime(new Clock());
    for (let i = 0; i < 9; i++) {
      const message = timeDate(NOON + HOUR);
      message[3] = UNKNOWN;
      bus.frame(message, 8);
      bus.frame(timeDate(NOON + HOUR).subarray(0, 4), 4);
    }
    expect(bus.contradictedByS).toBeNull();
  });

  it('goes by the run as it is now best known', () => {
    const clock = new Clock();
    const bus = new BusTime(clock);
    for (let i = 0; i < 5; i++) bus.frame(timeDate(NOON + HOUR), 8);
    clock.run = { zeroWallMs: NOON + HOUR };
    bus.frame(timeDate(NOON + HOUR), 8);
    expect(bus.contradictedByS).toBeNull();
  });
});
