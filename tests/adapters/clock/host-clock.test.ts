import { describe, expect, it } from 'vitest';
import { HostClock } from '../../../adapters/clock/host-clock.js';

const NOON = Date.parse('2026-03-02T12:00:00Z');

/** A machine whose wall clock can be set without the monotonic one moving. */
class Machine {
  mono = 5_000.25;
  wall: number;

  constructor(wall: number) {
    this.wall = wall;
  }
  monotonicMs = (): number => this.mono;
  wallMs = (): number => this.wall;
  pass(ms: number): void {
    this.mono += ms;
    this.wall += ms;
  }
}

describe('stream time', () => {
  // design: zero is the wall clock at process start cut to a whole second; t is whole milliseconds since zero.
  it.each([0, 1, 499, 999])('begins %i ms after the whole second that is its zero', (into) => {
    const machine = new Machine(NOON + into);
    const clock = new HostClock(machine, 0);
    expect(clock.run).toEqual({ zeroWallMs: NOON, synced: true });
    expect(clock.streamNow()).toBe(into);
    machine.pass(1500.7);
    expect(clock.streamNow()).toBe(into + 1500);
  });

  it('takes no notice of the wall clock', () => {
    const machine = new Machine(NOON);
    const clock = new HostClock(machine, 0);
    machine.pass(10_000);
    machine.wall -= 86_400_000;
    expect(clock.streamNow()).toBe(10_000);
  });
});

describe('the wall clock', () => {
  it('below the floor is not set, has no now, and leaves the run unsynced', () => {
    const machine = new Machine(Date.parse('1970-01-01T00:00:20Z'));
    const clock = new HostClock(machine, NOON);
    expect({ set: clock.isSet, now: clock.wallNow(), synced: clock.run.synced }).toEqual({
      set: false,
      now: null,
      synced: false,
    });
  });

  it('is set later: all of the run moves to where it was, once', () => {
    const machine = new Machine(20_000);
    const clock = new HostClock(machine, NOON);
    machine.pass(30_000);
    expect(clock.look()).toBeNull();
    machine.wall = NOON + 90_000;
    expect(clock.look()).toEqual({ zeroWallMs: NOON + 60_000, synced: true });
    expect(clock.look()).toBeNull();
    expect(clock.run.zeroWallMs + clock.streamNow()).toBe(NOON + 90_000);
  });

  it.each([
    [499, null],
    [-499, null],
    [500, 500],
    [-7_200_000, -7_200_000],
  ])('that steps by %i ms moves zero by %s', (step, moved) => {
    const machine = new Machine(NOON);
    const clock = new HostClock(machine, 0);
    machine.pass(60_000);
    machine.wall += step;
    expect(clock.look()).toEqual(moved === null ? null : { zeroWallMs: NOON + moved, synced: true });
  });

  it('that falls below the floor again says nothing about a run that was synced', () => {
    const machine = new Machine(NOON);
    const clock = new HostClock(machine, NOON);
    machine.wall = 0;
    expect(clock.look()).toBeNull();
    expect(clock.run).toEqual({ zeroWallMs: NOON, synced: true });
  });

  it('older than what the store has seen is not set', () => {
    const clock = new HostClock(new Machine(NOON), 0);
    clock.raiseFloor(NOON + 1);
    expect({ set: clock.isSet, synced: clock.run.synced }).toEqual({ set: false, synced: false });
  });

  it('of this machine is right: the program was built before now', () => {
    const before = performance.now();
    const clock = new HostClock();
    expect(clock.isSet).toBe(true);
    expect(clock.run.zeroWallMs % 1000).toBe(0);
    expect(Math.abs(clock.run.zeroWallMs + clock.streamNow() - Date.now())).toBeLessThan(
      50 + performance.now() - before,
    );
  });
});
