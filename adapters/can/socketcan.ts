import type { KernelFilter } from '../../daemon/j1939/interest.js';

/** A frame as it came off the bus. `data` is valid during the call only. */
export type OnFrame = (id: number, data: Uint8Array, isError: boolean) => void;

export interface OpenBus {
  /** Frames that the kernel handed over, but for error frames: also those that are then skipped. */
  readonly received: number;
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
/** Longer is CAN FD, which the package's sockets let through; a shorter FD frame cannot be told from another one. */
const MAX_DATA = 8;
/** What no frame is: a remote frame of a 29-bit id that a data frame has. */
const NOTHING = { id: 0xc0000000, mask: 0xffffffff, invert: false };
/** Until the package's handles are certainly closed. */
const HOLD_MS = 1_000;

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
  // First of all: until then the kernel queues whatever is on the bus.
  channel.setRxFilters(filters.map(({ id, mask }) => ({ id, mask, invert: false })));
  channel.setErrorFilters(ALL_ERRORS);
  // The package calls back from within stop(), and throws when it is stopped twice.
  let open = true;
  let received = 0;
  channel.addListener('onMessage', (message) => {
    if (!open) return;
    if (message.err === true) {
      onFrame(message.id, message.data, true);
      return;
    }
    received++;
    if (message.ext === true && message.rtr !== true && message.data.length <= MAX_DATA)
      onFrame(message.id, message.data, false);
  });
  channel.addListener('onStopped', () => {
    if (!open) return;
    open = false;
    letGo(channel);
    onStopped();
  });
  channel.start();
  return {
    get received() {
      return received;
    },
    close: () => {
      if (!open) return;
      open = false;
      channel.stop();
      letGo(channel);
    },
  };
}

/**
 * The package closes a socket no earlier than the garbage collector finds it: until then the kernel would go on queueing
 * frames for nobody. And it must not be found before the event loop has closed the channel's handles, which lie in it.
 */
function letGo(channel: Channel): void {
  channel.setRxFilters([NOTHING]);
  channel.setErrorFilters(0);
  setTimeout((held: Channel) => void held, HOLD_MS, channel).unref();
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
