import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { promisify } from 'node:util';
import { hostTimers, type PublisherClock } from '../mqtt/clock.js';

/** Does the host say that its clock is right? */
export interface SyncSource {
  readonly synced: boolean;
  /** Who says so, or who was asked: a few words for the health page. */
  readonly by: string;
}

/** The owner says that the clock is right (`clock: {trust: yes}`): a battery clock, or a service that cannot be asked. */
export const TRUSTED: SyncSource = { synced: true, by: 'trust' };

/** Made by systemd-timesyncd at the first synchronisation since the boot (systemd-timesyncd.service(8)). */
const TIMESYNCD_FILE = '/run/systemd/timesync/synchronized';
/** Says what the kernel knows (STA_UNSYNC, adjtimex(2)), whichever service keeps the clock: timesyncd, chrony, ntpd. */
const PROGRAM = 'timedatectl';
/** A message bus that hangs is no answer. */
const ANSWER_MS = 5_000;
/** Nobody waits longer for the first answer. */
const FIRST_ANSWER_MS = 500;
/** Asked this often until the clock is right, and from then on. */
const ASK_MS = 30_000;
const ASK_AGAIN_MS = 600_000;

export interface HostSyncOptions {
  /** Stand for the real ones in tests. */
  file?: string;
  program?: string;
  timers?: Pick<PublisherClock, 'after'>;
}

/**
 * Asks the host, again and again. Not to know (no such program, no answer) counts as not right: a machine whose clock nobody
 * vouches for says so, or its owner vouches.
 */
export class HostSync implements SyncSource {
  #synced = false;
  #by = 'not asked yet';
  #cancel: () => void = () => {};
  #closed = false;
  readonly #file: string;
  readonly #program: string;
  readonly #timers: Pick<PublisherClock, 'after'>;

  constructor({ file = TIMESYNCD_FILE, program = PROGRAM, timers = hostTimers() }: HostSyncOptions = {}) {
    this.#file = file;
    this.#program = program;
    this.#timers = timers;
  }

  get synced(): boolean {
    return this.#synced;
  }

  get by(): string {
    return this.#by;
  }

  /** Begins to ask. Resolves with the first answer, or without one after half a second. Never rejects. */
  async start(): Promise<void> {
    let cancel = (): void => {};
    const late = new Promise<void>((resolve) => {
      cancel = this.#timers.after(FIRST_ANSWER_MS, resolve);
    });
    await Promise.race([this.#ask(), late]);
    cancel();
  }

  /** Nothing is asked any more. */
  close(): void {
    this.#closed = true;
    this.#cancel();
  }

  async #ask(): Promise<void> {
    [this.#synced, this.#by] = existsSync(this.#file) ? [true, 'timesyncd'] : await kernelSays(this.#program);
    if (!this.#closed) this.#cancel = this.#timers.after(this.#synced ? ASK_AGAIN_MS : ASK_MS, () => void this.#ask());
  }
}

async function kernelSays(program: string): Promise<[synced: boolean, by: string]> {
  try {
    const { stdout } = await promisify(execFile)(program, ['show', '--property=NTPSynchronized', '--value'], {
      timeout: ANSWER_MS,
      // systemd's programs tell it of their own failures.
      env: { ...process.env, NOTIFY_SOCKET: undefined },
    });
    const answer = stdout.trim();
    return [answer === 'yes', answer === 'yes' || answer === 'no' ? program : `${program}: no clear answer`];
  } catch {
    return [false, `${program}: no answer`];
  }
}
