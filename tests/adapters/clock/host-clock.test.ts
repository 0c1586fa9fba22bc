import { describe, expect, it } from 'vitest';
import { type ClockFloor, HostClock } from '../../../adapters/clock/host-clock.js';
import type { SyncSource } from '../../../adapters/clock/sync-source.js';

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

/** A machine that remembers nothing, and a program built then. */
const built = (builtMs: number): ClockFloor => ({ builtMs, rememberedMs: 0 });

describe('stream time', () => {
  // design: zero is the wall clock at process start cut to a whole second; t is whole milliseconds since zero.
  it.each([0, 1, 499, 999])('begins %i ms after the whole second that is its zero', (into) => {
    const machine = new Machine(NOON + into);
    const clock = new HostClock({ host: machine, floor: built(0) });
    expect(clock.run).toEqual({ zeroWallMs: NOON, synced: true });
    expect(clock.streamNow()).toBe(into);
    machine.pass(1500.7);
    expect(clock.streamNow()).toBe(into + 1500);
  });

  it('takes no notice of the wall clock', () => {
    const machine = new Machine(NOON);
    const clock = new HostClock({ host: machine, floor: built(0) });
    machine.pass(10_000);
    machine.wall -= 86_400_000;
    expect(clock.streamNow()).toBe(10_000);
  });
});

describe('the wall clock', () => {
  it('below the floor is not set, has no now, and leaves the run unsynced', () => {
    const machine = new Machine(Date.parse('1970-01-01T00:00:20Z'));
    const clock = new HostClock({ host: machine, floor: built(NOON) });
    expect({ set: clock.isSet, now: clock.wallNow(), synced: clock.run.synced }).toEqual({
      set: false,
      now: null,
      synced: false,
    });
  });

  it('is set later: all of the run moves to where it was, once', () => {
    const machine = new Machine(20_000);
    const clock = new HostClock({ host: machine, floor: built(NOON) });
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
    const clock = new HostClock({ host: machine, floor: built(0) });
    machine.pass(60_000);
    machine.wall += step;
    expect(clock.look()).toEqual(moved === null ? null : { zeroWallMs: NOON + moved, synced: true });
  });

  it('that falls below the floor again says nothing about a run that was synced', () => {
    const machine = new Machine(NOON);
    const clock = new HostClock({ host: machine, floor: built(NOON) });
    machine.wall = 0;
    expect(clock.look()).toBeNull();
    expect(clock.run).toEqual({ zeroWallMs: NOON, synced: true });
  });

  it('older than what the store has seen is not set', () => {
    const clock = new HostClock({ host: new Machine(NOON), floor: built(0) });
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

/** The service that sets the clock, as it would have it. */
class Service implements SyncSource {
  synced = false;
  readonly by = 'test';
}

describe('a clock that nobody vouches for', () => {
  it('may be past the floor: it is set, so that brokers are tried, and nothing is synced', () => {
    const machine = new Machine(NOON);
    const clock = new HostClock({ host: machine, floor: built(0), sync: new Service() });
    expect({ set: clock.isSet, synced: clock.run.synced, now: clock.wallNow() }).toEqual({
      set: true,
      synced: false,
      now: null,
    });
    machine.pass(60_000);
    expect(clock.look()).toBeNull();
  });

  it('that is found right where it stands keeps its zero and is synced from then on, once', () => {
    const machine = new Machine(NOON);
    const service = new Service();
    const clock = new HostClock({ host: machine, floor: built(0), sync: service });
    machine.pass(60_000);
    service.synced = true;
    expect(clock.look()).toEqual({ zeroWallMs: NOON, synced: true });
    expect(clock.look()).toBeNull();
    expect(clock.wallNow()).toBe(NOON + 60_000);
  });

  it('is not synced before the floor, whatever the service says', () => {
    const service = new Service();
    service.synced = true;
    const clock = new HostClock({ host: new Machine(20_000), floor: built(NOON), sync: service });
    expect({ set: clock.isSet, synced: clock.run.synced }).toEqual({ set: false, synced: false });
  });

  it('is set although somebody remembers a later time, once a service vouches for it; the owner’s trust is no such word', () => {
    const floor: ClockFloor = { builtMs: NOON - 1, rememberedMs: Date.parse('2099-01-01T00:00:00Z') };
    const service = new Service();
    const clock = new HostClock({ host: new Machine(NOON), floor, sync: service });
    expect(clock.isSet).toBe(false);
    service.synced = true;
    expect({ set: clock.isSet, run: clock.look() }).toEqual({ set: true, run: { zeroWallMs: NOON, synced: true } });
    expect(new HostClock({ host: new Machine(NOON), floor }).isSet).toBe(false);
  });

  it('once right, and then moved by hand while the service is away, says nothing new about the run', () => {
    const machine = new Machine(NOON);
    const service = new Service();
    service.synced = true;
    const clock = new HostClock({ host: machine, floor: built(0), sync: service });
    service.synced = false;
    machine.pass(10_000);
    machine.wall += 3_600_000;
    expect(clock.look()).toBeNull();
    expect(clock.wallNow()).toBe(NOON + 10_000);
    service.synced = true;
    expect(clock.look()).toEqual({ zeroWallMs: NOON + 3_600_000, synced: true });
  });
});

const HOUR = 3_600_000;
/** By how much the wall clock is moved: the first time from 1970, as on a board without a battery. */
const STEPS: [name: string, from: number, stepMs: number][] = [
  ['1970 to now', 25_000, NOON - 25_000],
  ['+1 s', NOON, 1_000],
  ['-1 s', NOON, -1_000],
  ['+13 h', NOON, 13 * HOUR],
  ['-13 h', NOON, -13 * HOUR],
];
/** What the service says before the step and after it. */
const VERDICTS: [before: boolean, after: boolean][] = [
  [false, false],
  [false, true],
  [true, true],
];

describe.each(STEPS)('a step of %s', (_name, from, stepMs) => {
  const floorMs = NOON - 24 * HOUR;

  it.each(VERDICTS)('with the service saying %s before and %s after', (before, after) => {
    const machine = new Machine(from + 250);
    const service = new Service();
    service.synced = before;
    const clock = new HostClock({ host: machine, floor: built(floorMs), sync: service });
    expect(clock.run).toEqual({ zeroWallMs: from, synced: before && from >= floorMs });
    let last = clock.streamNow();
    const second = (): void => {
      machine.pass(1000);
      // Stream time goes on by exactly what has passed, whatever the wall clock does.
      expect(clock.streamNow()).toBe(last + 1000);
      last = clock.streamNow();
    };
    for (let i = 0; i < 5; i++) {
      second();
      expect(clock.look()).toBeNull();
    }
    machine.wall += stepMs;
    service.synced = after;
    second();
    expect(clock.look()).toEqual({ zeroWallMs: from + stepMs, synced: after });
    // The stamp of now is what the wall clock shows, and the whole run has moved with it.
    expect(clock.run.zeroWallMs + clock.streamNow()).toBe(machine.wall);
    expect(clock.wallNow()).toBe(after ? machine.wall : null);
    second();
    expect(clock.look()).toBeNull();
  });
});
