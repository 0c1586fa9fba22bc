import { hostTimers, type PublisherClock } from '../mqtt/clock.js';
import { type DatagramSender, openDatagram } from './unix-datagram.js';

/** While the pipeline stands still it is looked at this often: it may yet move before the manager's time is up. */
const LOOK_MS = 1_000;

export interface ServiceManagerOptions {
  /** Does the pipeline really move? The manager's watchdog is fed as long as it does. */
  isMoving: () => boolean;
  /** One line for people. */
  log: (level: 'info' | 'warn', line: string) => void;
  /** Stand for the real ones in tests. */
  env?: Readonly<Record<string, string | undefined>>;
  pid?: number;
  timers?: Pick<PublisherClock, 'after'>;
  open?: (path: string) => Promise<DatagramSender>;
}

/**
 * Finds the service manager, as sd_notify(3) has it: NOTIFY_SOCKET, WATCHDOG_USEC, WATCHDOG_PID. Without the first nobody listens,
 * and the object does nothing; when the socket cannot be had, that is said in one line. Never rejects.
 */
export async function openServiceManager(options: ServiceManagerOptions): Promise<ServiceManager> {
  const path = (options.env ?? process.env).NOTIFY_SOCKET;
  if (path === undefined || path === '') return new ServiceManager(options, null);
  const sender = await (options.open ?? openDatagram)(path).catch((error: Error) => {
    options.log('warn', `the service manager is not told anything: ${error.message}`);
    return null;
  });
  return new ServiceManager(options, sender);
}

/**
 * Tells the service manager how we are. The watchdog is fed at half of its time, and only while the pipeline moves: a program
 * whose ticks decide nothing, or whose commits do not reach the disk, is started anew.
 */
export class ServiceManager {
  /** Watchdog messages sent, and looks at which the pipeline stood still. */
  fed = 0;
  withheld = 0;
  readonly #options: ServiceManagerOptions;
  readonly #timers: Pick<PublisherClock, 'after'>;
  #sender: DatagramSender | null;
  #cancel: () => void = () => {};
  #failed = false;
  #stalled = false;

  constructor(options: ServiceManagerOptions, sender: DatagramSender | null) {
    this.#options = options;
    this.#timers = options.timers ?? hostTimers();
    this.#sender = sender;
  }

  /** Started, or reloaded. From the first time on the watchdog is fed. */
  ready(status: string): void {
    this.#tell('READY=1', statusOf(status));
    this.#cancel();
    this.#feed();
  }

  /** One line that `systemctl status` shows. */
  status(text: string): void {
    this.#tell(statusOf(text));
  }

  /**
   * The configuration is read anew; `ready` ends it. Type=notify takes it since systemd 217, Type=notify-reload (since 253,
   * newer than Debian 12 has) wants the monotonic time as well.
   */
  reloading(): void {
    this.#tell('RELOADING=1', `MONOTONIC_USEC=${process.hrtime.bigint() / 1000n}`);
  }

  /** The last that is said. */
  stopping(): void {
    this.#cancel();
    this.#tell('STOPPING=1', statusOf('stopping'));
    this.#sender?.close();
    this.#sender = null;
  }

  #feed(): void {
    const halfMs = this.#halfMs;
    if (this.#sender === null || halfMs === null) return;
    const isMoving = this.#options.isMoving();
    if (isMoving) {
      this.fed++;
      this.#tell('WATCHDOG=1');
    } else {
      this.withheld++;
      if (!this.#stalled) this.#options.log('warn', 'the pipeline stands still: the watchdog is not fed');
    }
    this.#stalled = !isMoving;
    this.#cancel = this.#timers.after(isMoving ? halfMs : Math.min(halfMs, LOOK_MS), () => this.#feed());
  }

  /** Milliseconds; null: no watchdog, or one that waits for another process. */
  get #halfMs(): number | null {
    const { env = process.env, pid = process.pid } = this.#options;
    const us = Number(env.WATCHDOG_USEC);
    if (!Number.isFinite(us) || us <= 0) return null;
    return env.WATCHDOG_PID === undefined || Number(env.WATCHDOG_PID) === pid ? us / 2000 : null;
  }

  #tell(...assignments: string[]): void {
    try {
      this.#sender?.tell(assignments.join('\n'));
      this.#failed = false;
    } catch (error) {
      if (!this.#failed) this.#options.log('warn', (error as Error).message);
      this.#failed = true;
    }
  }
}

/** Assignments are separated by line ends. */
const statusOf = (text: string): string => `STATUS=${text.replace(/\s+/g, ' ').slice(0, 200)}`;
