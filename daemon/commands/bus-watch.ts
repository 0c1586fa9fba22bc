import type { Logger } from 'pino';
import { type InterfaceCounters, readCounters } from '../../adapters/can/interface-counters.js';
import { type ControllerHealth, controllerHealth } from '../../adapters/can/interface-mode.js';
import { SocketLoss, socketMatches } from '../../adapters/can/socket-loss.js';
import type { OpenBus } from '../../adapters/can/socketcan.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { KernelFilter } from '../j1939/interest.js';

/** How often the kernel's counters are read while the bus is open. */
const LOOK_MS = 10_000;
/** Another program asks the controller: only after error frames, and every so many looks. */
const CONTROLLER_EVERY = 6;

/** Where the kernel's counters come from; tests put their own in its place. */
export interface CounterSource {
  counters(name: string): Promise<InterfaceCounters | null>;
  controller(name: string): Promise<ControllerHealth | null>;
  matches(name: string, filters: readonly KernelFilter[]): number | null;
}

const KERNEL: CounterSource = { counters: readCounters, controller: controllerHealth, matches: socketMatches };

/**
 * A bus since the program's start. `frames` and `errorFrames` are what was taken from its sockets, `opened` how often one
 * was opened. `counters`: `lost`, frames that the kernel had for the program and could not hand over; those of the
 * interface, at most 10 s old; those of its controller, at most 60 s old. What is not known is not there.
 * `controller` is its state in the kernel's words (ERROR-ACTIVE … BUS-OFF), null where there is none or it is not known.
 */
export interface BusCounts {
  frames: number;
  errorFrames: number;
  opened: number;
  counters: Record<string, number>;
  controller: string | null;
}

export interface BusWatchOptions {
  bus: TruckConfig['buses'][number];
  filters: readonly KernelFilter[];
  log: Logger;
  kernel?: CounterSource | undefined;
}

/** Counts what a bus gives, over all openings of its interface, and what is lost on the way. */
export class BusWatch {
  frames = 0;
  errorFrames = 0;
  #opened = 0;
  #counters: InterfaceCounters | null = null;
  #controller: ControllerHealth | null = null;
  readonly #options: BusWatchOptions;
  readonly #kernel: CounterSource;
  /** Of the socket that is open, and of those before it. */
  #loss: SocketLoss | null = null;
  #lostBefore: number | null = null;
  #lostTold = 0;
  #looks = 0;
  #errorFramesSeen = 0;
  #timer: NodeJS.Timeout | null = null;

  constructor(options: BusWatchOptions) {
    this.#options = options;
    this.#kernel = options.kernel ?? KERNEL;
  }

  get counts(): BusCounts {
    const { state = null, ...ofController } = this.#controller ?? {};
    const known = { lost: this.#lost, ...this.#counters, ...ofController };
    return {
      frames: this.frames,
      errorFrames: this.errorFrames,
      opened: this.#opened,
      counters: Object.fromEntries(
        Object.entries(known).filter((entry): entry is [string, number] => entry[1] !== null),
      ),
      controller: state,
    };
  }

  /** @param hasController a virtual interface has none */
  opened(open: OpenBus, hasController: boolean): void {
    const { bus, filters } = this.#options;
    const loss = new SocketLoss(
      () => this.#kernel.matches(bus.interface, filters),
      () => open.received,
    );
    this.#opened++;
    this.#loss = loss;
    this.#looks = 0;
    this.#later(loss, hasController);
  }

  /** The socket is gone; what it lost stays counted. */
  left(): void {
    this.#lostBefore = this.#lost;
    this.#loss = null;
    if (this.#timer !== null) clearTimeout(this.#timer);
    this.#timer = null;
  }

  get #lost(): number | null {
    const now = this.#loss?.lost ?? null;
    return now === null ? this.#lostBefore : now + (this.#lostBefore ?? 0);
  }

  #later(loss: SocketLoss, hasController: boolean): void {
    this.#timer = setTimeout(async () => {
      await this.#look(loss, hasController);
      if (this.#loss === loss) this.#later(loss, hasController);
    }, LOOK_MS);
  }

  async #look(loss: SocketLoss, hasController: boolean): Promise<void> {
    const { interface: name } = this.#options.bus;
    await loss.look();
    this.#counters = await this.#kernel.counters(name);
    const isDue = this.errorFrames !== this.#errorFramesSeen || this.#looks % CONTROLLER_EVERY === 0;
    this.#looks++;
    if (hasController && isDue) {
      this.#errorFramesSeen = this.errorFrames;
      this.#controller = await this.#kernel.controller(name);
    }
    this.#tell(this.#lost ?? 0);
  }

  /** Told again only when it has doubled, as it may go on for months. */
  #tell(lost: number): void {
    if (lost === 0 || lost < 2 * this.#lostTold) return;
    this.#lostTold = lost;
    const { bus, log } = this.#options;
    const remedy = 'give sockets a larger buffer (sysctl net.core.rmem_default)';
    log.warn(
      { bus: bus.name, lost },
      `${bus.interface}: frames came faster than they were taken and are lost; ${remedy}`,
    );
  }
}
