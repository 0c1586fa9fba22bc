import type { KernelFilter } from '../../daemon/j1939/interest.js';

/** A frame as it came off the bus. `data` is valid during the call only. */
export type OnFrame = (id: number, data: Uint8Array, isError: boolean) => void;

export interface OpenBus {
  close(): void;
}

/** What we use of the package: nothing that sends is in reach. */
interface Channel {
  addListener(event: string, callback: (message: Message) => void): void;
  setRxFilters(filters: { id: number; mask: number; invert: boolean }[]): void;
  setErrorFilters(mask: number): void;
  start(): void;
  stop(): void;
}

interface Message {
  id: number;
  ext: boolean;
  rtr: boolean;
  err?: boolean;
  data: Buffer;
}

/** All error classes of linux/can/error.h. */
const ALL_ERRORS = 0x1fffffff;

/**
 * Listens to one SocketCAN interface. The one place that may load the package, and only when a live bus is asked for; what
 * leaves this function cannot send.
 * Rejects when the package is not installed, or the interface does not exist or is down.
 */
export async function openSocketCan(
  name: string,
  filters: readonly KernelFilter[],
  onFrame: OnFrame,
  onStopped: () => void,
): Promise<OpenBus> {
  const channel = await createChannel(name);
  channel.addListener('onMessage', (message) => {
    if (message.err === true) onFrame(message.id, message.data, true);
    else if (message.ext && !message.rtr) onFrame(message.id, message.data, false);
  });
  channel.addListener('onStopped', () => onStopped());
  channel.setRxFilters(filters.map(({ id, mask }) => ({ id, mask, invert: false })));
  channel.setErrorFilters(ALL_ERRORS);
  channel.start();
  return { close: () => channel.stop() };
}

async function createChannel(name: string): Promise<Channel> {
  const can = await import('socketcan').catch((cause: unknown) => {
    throw new Error('the package "socketcan" is not built here; run npm ci on Linux with a C++ compiler', { cause });
  });
  try {
    return can.createRawChannel(name, false) as unknown as Channel;
  } catch (cause) {
    throw new Error(`${name}: no such interface or it is down; look with "ip link show ${name}"`, { cause });
  }
}
