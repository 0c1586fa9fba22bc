import { pino } from 'pino';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { type BusState, LiveBus } from '../../../daemon/commands/live-bus.js';
import { FakeBus, LISTEN_ONLY } from './live.js';

beforeEach(() => void vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout', 'performance'] }));
afterEach(() => void vi.useRealTimers());

function watch(fake: FakeBus) {
  const states: BusState[] = [];
  const fatal: string[] = [];
  const log: string[] = [];
  const bus = new LiveBus({
    bus: { name: 'main', interface: 'can0', acknowledge: false },
    edges: {
      openBus: fake.openBus,
      modeOf: fake.modeOf,
      log: pino({ base: null }, { write: (line: string) => void log.push(JSON.parse(line).msg) }),
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
