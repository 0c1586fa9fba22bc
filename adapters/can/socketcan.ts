import type { KernelFilter } from '../../daemon/j1939/interest.js';

/** A frame as it came off the bus. `data` is valid during the call only. */
export type OnFrame = (id: number, data: Uint8Array, isError: boolean) => void;

export interface OpenBus {
  /** No frame comes afterwards. May be called at any time, also twice. */
  close(): void;
}

/** What we use of the package: nothing that sends is in reach. */
export interface Channel {
  addListener(event: string, callback: (message: Message) => void): void;
  setRxFilters(filters: { id: number; mask: number; invert: boolean }[]): void;
  setErrorFilters(mask: number): void;
  start(): void;
  stop(): void;
}

export interface Message {
  id: number;
  ext?: boolean;
  rtr?: boolean;
  err?: boolean;
  data: Uint8Array;
}

/** All error classes of linux/can/error.h. */
const ALL_ERRORS = 0x1fffffff;
/** Longer is CAN FD, which the package's sockets let through. */
const MAX_DATA = 8;

/**
 * Listens to one SocketCAN interface. The one place that may load the package, and only when a live bus is asked for; what
 * leaves this function cannot send.
 * `onStopped` is called once when the interface goes down or away, not after `close`.
 * Rejects when the package is not installed, or the interface does not exist.
 * @param create stands for the package's channel in tests
 */
export async function openSocketCan(
  name: string,
  filters: readonly KernelFilter[],
  onFrame: OnFrame,
  onStopped: () => void,
  create: (name: string) => Promise<Channel> = createChannel,
): Promise<OpenBus> {
  const channel = await create(name);
  // The package calls back from within stop(), and throws when it is stopped twice.
  let open = true;
  channel.addListener('onMessage', (message) => {
    if (!open) return;
    if (message.err === true) onFrame(message.id, message.data, true);
    else if (message.ext === true && message.rtr !== true && message.data.length <= MAX_DATA)
      onFrame(message.id, message.data, false);
  });
  channel.addListener('onStopped', () => {
    if (!open) return;
    open = false;
    onStopped();
  });
  channel.setRxFilters(filters.map(({ id, mask }) => ({ id, mask, invert: false })));
  channel.setErrorFilters(ALL_ERRORS);
  channel.start();
  return {
    close: () => {
      if (!open) return;
      open = false;
      channel.stop();
    },
  };
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
