import { describe, expect, it } from 'vitest';
import { type Channel, type Message, openSocketCan } from '../../../adapters/can/socketcan.js';

/** Behaves as the package does: stop() calls back from within, and throws on a channel that is stopped. */
class FakeChannel implements Channel {
  readonly listeners: Record<string, (message: Message) => void> = {};
  filters: unknown = null;
  errorMask = 0;
  running = false;
  readonly calls: string[] = [];

  addListener(event: string, callback: (message: Message) => void): void {
    this.listeners[event] = callback;
  }
  setRxFilters(filters: unknown): void {
    this.calls.push('setRxFilters');
    this.filters = filters;
  }
  setErrorFilters(mask: number): void {
    this.calls.push('setErrorFilters');
    this.errorMask = mask;
  }
  start(): void {
    this.calls.push('start');
    this.running = true;
  }
  stop(): void {
    if (!this.running) throw new Error('Channel not started');
    this.listeners.onStopped!({ id: 0, data: new Uint8Array() });
    this.running = false;
  }
  say(message: Partial<Message>): void {
    this.listeners.onMessage!({ id: 0x18feca00, ext: true, data: new Uint8Array(8), ...message });
  }
}

async function opened() {
  const channel = new FakeChannel();
  const got: [id: number, length: number, isError: boolean][] = [];
  let stopped = 0;
  const bus = await openSocketCan(
    'can0',
    [{ id: 0x98feca00, mask: 0x83ffff00 }],
    (id, data, isError) => got.push([id, data.length, isError]),
    () => stopped++,
    async () => channel,
  );
  return { channel, got, bus, stops: () => stopped };
}

describe('openSocketCan', () => {
  it('asks the kernel for the filters and every class of error', async () => {
    const { channel } = await opened();
    expect(channel.calls).toEqual(['setRxFilters', 'setErrorFilters', 'start']);
    expect(channel.filters).toEqual([{ id: 0x98feca00, mask: 0x83ffff00, invert: false }]);
    expect(channel).toMatchObject({ errorMask: 0x1fffffff, running: true });
  });

  it('gives 29-bit data frames and error frames; no 11-bit, RTR or FD', async () => {
    const { channel, got } = await opened();
    channel.say({});
    channel.say({ ext: false });
    channel.say({ rtr: true });
    channel.say({ data: new Uint8Array(12) });
    channel.say({ id: 0x20, ext: false, err: true });
    channel.say({ data: new Uint8Array(3) });
    expect(got).toEqual([
      [0x18feca00, 8, false],
      [0x20, 8, true],
      [0x18feca00, 3, false],
    ]);
  });

  it('tells once that the interface went away', async () => {
    const { channel, bus, stops } = await opened();
    channel.stop();
    expect(stops()).toBe(1);
    bus.close();
    expect(stops()).toBe(1);
  });

  // The package's socket stays open until it is collected, and the kernel would fill its buffer.
  it.each(['closed', 'stopped'])('%s: the kernel queues nothing more for it', async (how) => {
    const { channel, bus } = await opened();
    if (how === 'closed') bus.close();
    else channel.stop();
    expect(channel.errorMask).toBe(0);
    const [only, ...others] = channel.filters as { id: number; mask: number }[];
    expect(others).toEqual([]);
    // A remote frame of one 29-bit id, which no filter for data frames takes and no truck sends.
    expect(only).toMatchObject({ id: 0xc0000000, mask: 0xffffffff });
  });

  it('counts what the kernel handed over, skipped or not', async () => {
    const { channel, bus } = await opened();
    for (const message of [{}, { ext: false }, { rtr: true }, { data: new Uint8Array(12) }, { err: true }]) {
      channel.say(message);
    }
    expect(bus.received).toBe(4);
  });

  it('close: not told, nothing comes any more, twice does no harm', async () => {
    const { channel, got, bus, stops } = await opened();
    bus.close();
    bus.close();
    channel.say({});
    expect({ stops: stops(), got, running: channel.running }).toEqual({ stops: 0, got: [], running: false });
  });

  it('nothing that sends is in reach of the caller', async () => {
    expect(Object.keys((await opened()).bus)).toEqual(['received', 'close']);
  });
});
