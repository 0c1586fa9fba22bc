import { pino } from 'pino';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import type { CounterSource } from '../../../daemon/commands/bus-watch.js';
import { type BusState, LiveBus } from '../../../daemon/commands/live-bus.js';
import { FakeBus, LISTEN_ONLY } from './live.js';

beforeEach(() => void vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout', 'performance'] }));
afterEach(() => void vi.useRealTimers());

const COUNTERS = { rxPackets: 1000, rxErrors: 1, rxDropped: 2, rxOverErrors: 3, rxFifoErrors: 4 };
const CONTROLLER = {
  ...{ state: 'ERROR-ACTIVE', errorWarning: 0, errorPassive: 0, busOff: 0, busErrors: 0, arbitrationLost: 0 },
  ...{ restarts: 0, receiveErrors: null, transmitErrors: null },
};

/** A kernel that counts how often it is asked. */
class FakeKernel implements CounterSource {
  asked = 0;
  controllerAsked = 0;
  matched: number | null = 0;
  counters = async () => {
    this.asked++;
    return COUNTERS;
  };
  controller = async () => {
    this.controllerAsked++;
    return CONTROLLER;
  };
  matches = (): number | null => this.matched;
}

function watch(fake: FakeBus, kernel = new FakeKernel()) {
  const states: BusState[] = [];
  const fatal: string[] = [];
  const log: string[] = [];
  const bus = new LiveBus({
    bus: { name: 'main', interface: 'can0', acknowledge: false },
    edges: {
      openBus: fake.openBus,
      modeOf: fake.modeOf,
      log: pino({ base: null }, { write: (line: string) => void log.push(JSON.parse(line).msg) }),
      kernel,
    },
    filters: [],
    onFrame: () => {},
    onState: (state) => states.push(state),
    onFatal: (failure) => fatal.push(failure.message),
  });
  return { bus, states, fatal, log };
}

/** Seconds at which the interface was looked at, over so many seconds. */
async function looks(fake: FakeBus, seconds: number): Promise<number[]> {
  const at: number[] = [];
  for (let s = 0, asked = fake.asked; s <= seconds; s++) {
    if (fake.asked > asked) at.push(s);
    asked = fake.asked;
    await vi.advanceTimersByTimeAsync(1000);
  }
  return at;
}

describe('back-off', () => {
  it('doubles from a second to a minute; the same trouble is told once', async () => {
    const fake = new FakeBus();
    fake.mode = { kind: 'listen-only', up: false };
    const { bus, log } = watch(fake);
    await bus.start();
    expect(await looks(fake, 250)).toEqual([1, 3, 7, 15, 31, 63, 123, 183, 243]);
    expect(log).toEqual(['can0: is down; bring it up with "ip link set can0 up"']);
    fake.mode = new Error('no "ip"');
    await vi.advanceTimersByTimeAsync(60_000);
    expect(log.at(-1)).toBe('no "ip"');
    bus.close();
    const { asked } = fake;
    await vi.advanceTimersByTimeAsync(600_000);
    expect(fake.asked).toBe(asked);
  });

  it('goes on where an interface opens and stops without a frame; a good frame begins it anew', async () => {
    const fake = new FakeBus();
    const { bus, states } = watch(fake);
    await bus.start();
    for (const seconds of [1, 2, 4]) {
      fake.fail();
      await vi.advanceTimersByTimeAsync(seconds * 1000 - 1);
      expect(states.at(-1)).toBe('down');
      await vi.advanceTimersByTimeAsync(1);
      expect(states.at(-1)).toBe('listen-only');
    }
    fake.say();
    fake.fail();
    await vi.advanceTimersByTimeAsync(1000);
    expect(states.at(-1)).toBe('listen-only');
    bus.close();
  });
});

describe('closing', () => {
  it('while the interface is being opened lets go of it', async () => {
    const fake = new FakeBus();
    const { bus, states } = watch(fake);
    const starting = bus.start();
    await Promise.resolve();
    bus.close();
    await starting;
    expect({ open: fake.opened - fake.closed, states }).toEqual({ open: 0, states: [] });
  });
});

describe('only error frames', () => {
  it('for five seconds: wrong bitrate?', async () => {
    const fake = new FakeBus();
    const { bus, fatal } = watch(fake);
    await bus.start();
    fake.error();
    await vi.advanceTimersByTimeAsync(4999);
    fake.error();
    expect(fatal).toEqual([]);
    await vi.advanceTimersByTimeAsync(1);
    fake.error();
    expect(fatal).toHaveLength(1);
    expect(fatal[0]).toMatch(
      /^can0: only error frames for 5 s: wrong bitrate\? Look with "ip -details link show can0"; .+$/,
    );
    bus.close();
  });

  it('one good frame is enough, whenever it comes', async () => {
    for (const goodAt of [0, 3000]) {
      const fake = new FakeBus();
      const { bus, fatal } = watch(fake);
      await bus.start();
      for (let ms = 0; ms <= 20_000; ms += 1000) {
        if (ms === goodAt) fake.say();
        fake.error();
        await vi.advanceTimersByTimeAsync(1000);
      }
      expect(fatal).toEqual([]);
      bus.close();
    }
  });

  // As slcan and most drivers say it: class "controller", receiver error-passive (linux/can/error.h).
  it('a controller that says once that it is error-passive, and then nothing: wrong bitrate?', async () => {
    for (const [second, told] of [
      [0x10, 1],
      [0x20, 1],
      [0x04, 0],
    ] as const) {
      const fake = new FakeBus();
      const { bus, fatal } = watch(fake);
      await bus.start();
      fake.error(0x204, Uint8Array.of(0, second, 0, 0, 0, 0, 0, 135));
      await vi.advanceTimersByTimeAsync(4999);
      expect(fatal).toEqual([]);
      await vi.advanceTimersByTimeAsync(60_000);
      expect(fatal).toHaveLength(told);
      bus.close();
    }
  });

  it('error-passive, and then a good frame: nothing', async () => {
    const fake = new FakeBus();
    const { bus, fatal } = watch(fake);
    await bus.start();
    fake.error(0x204, Uint8Array.of(0, 0x10, 0, 0, 0, 0, 0, 135));
    await vi.advanceTimersByTimeAsync(4000);
    fake.say();
    await vi.advanceTimersByTimeAsync(60_000);
    expect(fatal).toEqual([]);
    bus.close();
  });

  it('a single one on a quiet bus is no reason', async () => {
    const fake = new FakeBus();
    fake.mode = LISTEN_ONLY;
    const { bus, fatal } = watch(fake);
    await bus.start();
    fake.error();
    await vi.advanceTimersByTimeAsync(60_000);
    expect(fatal).toEqual([]);
    bus.close();
  });
});

describe('health', () => {
  it('counts over all openings; the kernel is asked each 10 s while the bus is open', async () => {
    const fake = new FakeBus(1_000_000);
    const kernel = new FakeKernel();
    const { bus } = watch(fake, kernel);
    const unknown = { counters: {}, controller: null };
    const name = { name: 'main', interface: 'can0' };
    expect(bus.health()).toEqual({ ...name, ...unknown, state: 'down', frames: 0, errorFrames: 0, opened: 0 });
    await bus.start();
    fake.say();
    fake.error();
    await vi.advanceTimersByTimeAsync(9_999);
    expect(kernel.asked).toBe(0);
    await vi.advanceTimersByTimeAsync(1);
    // What this driver does not read (receiveErrors, transmitErrors) is not there.
    const ofController = { errorWarning: 0, errorPassive: 0, busOff: 0, busErrors: 0, arbitrationLost: 0, restarts: 0 };
    const known = { counters: { lost: 0, ...COUNTERS, ...ofController }, controller: 'ERROR-ACTIVE' };
    expect(bus.health()).toEqual({ ...name, ...known, state: 'listen-only', frames: 2, errorFrames: 1, opened: 1 });
    fake.fail();
    expect(bus.health()).toMatchObject({ state: 'down', frames: 2, opened: 1 });
    await vi.advanceTimersByTimeAsync(1_000);
    fake.say();
    expect(bus.health()).toMatchObject({ state: 'listen-only', frames: 4, opened: 2 });
    bus.close();
    await vi.advanceTimersByTimeAsync(60_000);
    expect(kernel.asked).toBe(1);
  });

  it('another program asks the controller once a minute, sooner after error frames, and never without a controller', async () => {
    const fake = new FakeBus(1_000_000);
    const kernel = new FakeKernel();
    const { bus } = watch(fake, kernel);
    await bus.start();
    await vi.advanceTimersByTimeAsync(60_000);
    expect([kernel.asked, kernel.controllerAsked]).toEqual([6, 1]);
    await vi.advanceTimersByTimeAsync(10_000);
    expect(kernel.controllerAsked).toBe(2);
    fake.error();
    await vi.advanceTimersByTimeAsync(10_000);
    expect(kernel.controllerAsked).toBe(3);
    bus.close();

    fake.mode = { kind: 'virtual', up: true };
    const without = watch(fake, kernel);
    await without.bus.start();
    await vi.advanceTimersByTimeAsync(60_000);
    expect(kernel.controllerAsked).toBe(3);
    without.bus.close();
  });

  it('frames that were lost stay counted when the interface goes away; told when first seen and when doubled', async () => {
    const fake = new FakeBus(1_000_000);
    const kernel = new FakeKernel();
    const { bus, log } = watch(fake, kernel);
    const told = () => log.filter((line) => line.includes('are lost')).length;
    await bus.start();
    const seen = async (matched: number | null, received: number) => {
      Object.assign(fake, { received });
      Object.assign(kernel, { matched });
      await vi.advanceTimersByTimeAsync(10_100);
      return [bus.health().counters.lost, told()];
    };
    expect(await seen(100, 100)).toEqual([0, 0]);
    expect(await seen(200, 190)).toEqual([10, 1]);
    expect(await seen(300, 285)).toEqual([15, 1]);
    expect(await seen(400, 380)).toEqual([20, 2]);
    fake.fail();
    await vi.advanceTimersByTimeAsync(1_000);
    expect(await seen(0, 0)).toEqual([20, 2]);
    expect(await seen(50, 47)).toEqual([23, 2]);
    bus.close();
  });
});
