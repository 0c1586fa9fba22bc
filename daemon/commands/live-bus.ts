import type { Logger } from 'pino';
import type { InterfaceMode } from '../../adapters/can/interface-mode.js';
import type { OnFrame, OpenBus } from '../../adapters/can/socketcan.js';
import type { BusHealth } from '../../adapters/host/health.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { KernelFilter } from '../j1939/interest.js';
import { type BusCounts, BusWatch, type CounterSource } from './bus-watch.js';
import { EXIT, Failure, lineOf } from './failure.js';

/** A bus that is missing or down is tried again after so long, doubling; from the start once a frame has come. */
const FIRST_RETRY_MS = 1_000;
const LAST_RETRY_MS = 60_000;
/** Error frames for this long without one good frame: the bitrate is likely wrong. */
const WRONG_BITRATE_MS = 5_000;
/** Error frame of class "controller" whose second byte says error-passive, receiving or sending (linux/can/error.h). */
const CONTROLLER_PROBLEM = 0x04;
const ERROR_PASSIVE = 0x30;

/** What touches the machine; tests put their own in its place. */
export interface RunEdges {
  openBus(name: string, filters: readonly KernelFilter[], onFrame: OnFrame, onStopped: () => void): Promise<OpenBus>;
  modeOf(name: string): Promise<InterfaceMode>;
  log: Logger;
  /** Absent: this machine's kernel. */
  kernel?: CounterSource;
}

export type Bus = TruckConfig['buses'][number];

/** How a bus is listened to, as `presence` says it. */
export type BusState = 'listen-only' | 'acknowledging' | 'virtual' | 'down';

/** Why this interface must not be listened to, or null. An acknowledging controller takes part in the bus. */
export function refusalOf(bus: Bus, { kind }: InterfaceMode): string | null {
  const name = bus.interface;
  if (kind === 'foreign') return `${name}: is no CAN interface; name one in the truck file (buses)`;
  if (kind !== 'acknowledging' || bus.acknowledge) return null;
  const remedy = `ip link set ${name} down && ip link set ${name} type can listen-only on && ip link set ${name} up`;
  return `${name}: the controller is not in listen-only mode; set it with "${remedy}", or write "acknowledge: yes" for bus ${bus.name} in the truck file`;
}

export interface LiveBusOptions {
  bus: Bus;
  edges: RunEdges;
  filters: readonly KernelFilter[];
  onFrame: OnFrame;
  onState: (state: BusState) => void;
  /** The bus cannot be listened to, and trying again does not help. */
  onFatal: (failure: Failure) => void;
}

/** One bus of the truck, opened again whenever it went away. The control mode is read before each opening. */
export class LiveBus {
  state: BusState = 'down';
  readonly #options: LiveBusOptions;
  readonly #watch: BusWatch;
  #open: OpenBus | null = null;
  #timer: NodeJS.Timeout | null = null;
  #retryMs = FIRST_RETRY_MS;
  #closed = false;
  #said = '';
  /** Since the opening. */
  #good = false;
  #firstErrorMs: number | null = null;
  #passive: NodeJS.Timeout | null = null;

  constructor(options: LiveBusOptions) {
    this.#options = options;
    const { bus, filters, edges } = options;
    this.#watch = new BusWatch({ bus, filters, log: edges.log, kernel: edges.kernel });
  }

  /** Tries until it is open, and again when it stops. Never rejects. */
  async start(): Promise<void> {
    const { bus, edges, filters } = this.#options;
    let stopped = false;
    const onStopped = (): void => {
      stopped = true;
      if (this.#open === null) return;
      this.#leave();
      this.#again(`${bus.interface}: went down`);
    };
    try {
      const mode = await edges.modeOf(bus.interface);
      const why = refusalOf(bus, mode) ?? awayOf(bus, mode);
      if (why !== null) return this.#again(why);
      if (this.#closed) return;
      this.#good = false;
      this.#firstErrorMs = null;
      const open = await edges.openBus(bus.interface, filters, (...frame) => this.#frame(...frame), onStopped);
      if (this.#closed) return open.close();
      if (stopped) return this.#again(`${bus.interface}: went down`);
      this.#open = open;
      this.#said = '';
      this.#watch.opened(open, mode.kind !== 'virtual');
      this.#enter(mode.kind as BusState);
      edges.log.info({ bus: bus.name, interface: bus.interface, mode: mode.kind }, 'bus open');
    } catch (error) {
      this.#again(lineOf(error));
    }
  }

  close(): void {
    this.#closed = true;
    if (this.#timer !== null) clearTimeout(this.#timer);
    this.#open?.close();
    this.#leave();
  }

  /** For the health page. */
  health(): Omit<BusHealth, 'transfers'> & BusCounts {
    const { bus } = this.#options;
    return { name: bus.name, interface: bus.interface, state: this.state, ...this.#watch.counts };
  }

  #leave(): void {
    this.#open = null;
    this.#watch.left();
    if (this.#passive !== null) clearTimeout(this.#passive);
    this.#passive = null;
  }

  #again(why: string): void {
    if (this.#closed) return;
    const { bus, edges } = this.#options;
    // The same trouble is told once, not every minute for as long as it lasts.
    if (why !== this.#said) edges.log.warn({ bus: bus.name, retryS: this.#retryMs / 1000 }, why);
    this.#said = why;
    this.#enter('down');
    this.#timer = setTimeout(() => void this.start(), this.#retryMs);
    this.#retryMs = Math.min(2 * this.#retryMs, LAST_RETRY_MS);
  }

  #enter(state: BusState): void {
    if (state === this.state) return;
    this.state = state;
    this.#options.onState(state);
  }

  #frame(id: number, data: Uint8Array, isError: boolean): void {
    if (this.#closed) return;
    if (isError) this.#watch.errorFrames++;
    else this.#watch.frames++;
    if (!isError && !this.#good) {
      this.#good = true;
      this.#retryMs = FIRST_RETRY_MS;
    }
    this.#options.onFrame(id, data, isError);
    if (isError && !this.#good) this.#errorOnly(id, data);
  }

  /**
   * Many drivers report no single bus error. With a wrong bitrate they say once that the controller is error-passive, which
   * takes 128 errors with hardly a good frame between them, and then nothing more.
   */
  #errorOnly(id: number, data: Uint8Array): void {
    const now = performance.now();
    this.#firstErrorMs ??= now;
    if (now - this.#firstErrorMs >= WRONG_BITRATE_MS) this.#wrongBitrate();
    else if ((id & CONTROLLER_PROBLEM) !== 0 && (data[1]! & ERROR_PASSIVE) !== 0) {
      this.#passive ??= setTimeout(() => {
        if (!this.#good) this.#wrongBitrate();
      }, WRONG_BITRATE_MS);
    }
  }

  #wrongBitrate(): void {
    const { bus, onFatal } = this.#options;
    onFatal(
      new Failure(
        EXIT.failed,
        `${bus.interface}: only error frames for ${WRONG_BITRATE_MS / 1000} s: wrong bitrate? Look with "ip -details link show ${bus.interface}"; J1939 runs at 250 or 500 kbit/s`,
      ),
    );
  }
}

function awayOf(bus: Bus, { kind, up }: InterfaceMode): string | null {
  if (kind === 'absent') return `${bus.interface}: no such interface; look with "ip link"`;
  return up ? null : `${bus.interface}: is down; bring it up with "ip link set ${bus.interface} up"`;
}
