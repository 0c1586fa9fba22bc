import { setMaxListeners } from 'node:events';
import { hostClock, type OfficeClock } from '../service/clock.js';
import { type OfficeStore, type QueuedNotice, StoreError } from '../store/contract.js';
import type { Channel, Outcome } from './channel.js';
import { MailChannel } from './mail.js';
import { againAtMs } from './retry.js';
import type { MailSettings, WebhookSettings } from './settings.js';
import type { FleetForm } from './text.js';
import { Webhook } from './webhook.js';

/** How often the store is asked when nothing was due. */
const LOOK_MS = 1_000;
/** Sent at once by one channel. */
const PARALLEL = 4;
/** Taken at once; so a channel has less than PARALLEL + TAKE in hand, all of them done well within the lease. */
const TAKE = 8;
/** After a crash nobody sends again what was in hand for so long. */
const LEASE_MS = 120_000;
/** The store is away: it is asked less often. */
const STORE_AWAY_MS = 3_000;
/** What is on its way at the end gets so long, then its connection is cut; all of stop() takes 2 s. */
const GRACE_MS = 1_000;
const STOP_MS = 1_900;
const STOPPED = 'the office was stopped';

export interface SenderLog {
  warn(line: string): void;
}

export interface SenderOptions {
  store: Pick<OfficeStore, 'dueNotices' | 'noticeSent' | 'noticeFailed'>;
  channels: readonly Channel[];
  log: SenderLog;
  clock?: OfficeClock;
  random?: () => number;
}

export interface SendCounts {
  sent: number;
  /** Attempts that failed and are made again. */
  failed: number;
  givenUp: number;
}

/** Channels of the office file, on their way. */
export function startSender(options: {
  store: SenderOptions['store'];
  webhooks: readonly WebhookSettings[];
  mail: readonly MailSettings[];
  /** How people of a fleet read times and values. */
  formOf: (fleet: string) => FleetForm;
  /** Address of the board, for links in mails; null: not known. */
  board: string | null;
  log: SenderLog;
}): Sender {
  const { store, webhooks, mail, formOf, board, log } = options;
  const channels = [
    ...webhooks.map((settings) => new Webhook({ ...settings, nowMs: hostClock.nowMs })),
    ...mail.map((settings) => new MailChannel({ ...settings, formOf, board })),
  ];
  return new Sender({ store, channels, log });
}

/**
 * Takes due notices from the store and sends them, each channel by itself: one that is slow holds up no other. What fails is tried again
 * for a day; what is given up is counted and stays in the store. That no end is told before its beginning is the store's care, which
 * gives of an alert one at a time. A message may arrive twice, after a crash or a lost confirmation; never is one lost.
 */
export class Sender {
  readonly counts: Record<string, SendCounts> = {};
  readonly #store: SenderOptions['store'];
  readonly #lanes = new Map<string, Lane>();
  readonly #log: SenderLog;
  readonly #clock: OfficeClock;
  readonly #random: () => number;
  readonly #cut = new AbortController();
  #cancel: () => void = () => {};
  #looking: Promise<void> | null = null;
  #isStopped = false;
  #isStoreAway = false;

  constructor({ store, channels, log, clock = hostClock, random = Math.random }: SenderOptions) {
    this.#store = store;
    this.#log = log;
    this.#clock = clock;
    this.#random = random;
    for (const channel of channels) {
      this.counts[channel.name] = { sent: 0, failed: 0, givenUp: 0 };
      this.#lanes.set(channel.name, { channel, waiting: [], inHand: new Set() });
    }
    // Each that is in hand listens.
    setMaxListeners(0, this.#cut.signal);
    this.#lookSoon(0);
  }

  /** Resolves within 2 s. What is not sent by then is due again at once, wherever the store is used next. */
  async stop(): Promise<void> {
    this.#isStopped = true;
    this.#cancel();
    const timers = [setTimeout(() => this.#cut.abort(), GRACE_MS)];
    const isOver = new Promise<void>((resolve) => timers.push(setTimeout(resolve, STOP_MS)));
    const waiting = [...this.#lanes.values()].flatMap((lane) => lane.waiting.splice(0));
    const nowMs = this.#clock.nowMs();
    const back = waiting.map(({ id }) => this.#store.noticeFailed(id, nowMs, STOPPED));
    const sending = [...this.#lanes.values()].flatMap((lane) => [...lane.inHand]);
    await Promise.race([Promise.allSettled([this.#looking, ...back, ...sending]), isOver]);
    this.#cut.abort();
    for (const timer of timers) clearTimeout(timer);
  }

  #lookSoon(ms: number): void {
    this.#cancel();
    if (this.#isStopped) return;
    this.#cancel = this.#clock.after(ms, () => {
      this.#looking = this.#look().finally(() => {
        this.#looking = null;
      });
    });
  }

  async #look(): Promise<void> {
    try {
      const full = [...this.#lanes.values()].filter(isFull).map(({ channel }) => channel.name);
      if (full.length > 0 && full.length === this.#lanes.size) {
        // A lane that gets free looks by itself.
        this.#lookSoon(LOOK_MS);
        return;
      }
      const due = await this.#store.dueNotices(this.#clock.nowMs(), LEASE_MS, TAKE, full);
      this.#isStoreAway = false;
      for (const queued of due) await this.#take(queued);
      this.#lookSoon(due.length < TAKE ? LOOK_MS : 0);
    } catch (error) {
      if (!(error instanceof StoreError)) throw error;
      if (!this.#isStoreAway) this.#log.warn(`nothing is sent while the store cannot be used: ${error.message}`);
      this.#isStoreAway = true;
      this.#lookSoon(STORE_AWAY_MS);
    }
  }

  /** Shorter when the end comes. */
  #pause(ms: number): Promise<void> {
    return new Promise((resolve) => {
      const cancel = this.#clock.after(ms, () => end());
      const { signal } = this.#cut;
      const end = (): void => {
        cancel();
        signal.removeEventListener('abort', end);
        resolve();
      };
      signal.addEventListener('abort', end);
    });
  }

  async #take(queued: QueuedNotice): Promise<void> {
    if (this.#isStopped) return this.#store.noticeFailed(queued.id, this.#clock.nowMs(), STOPPED);
    const lane = this.#lanes.get(queued.notice.channel);
    if (lane === undefined) {
      const why = 'the office file has no such channel';
      this.#log.warn(`${queued.notice.channel}: given up, as ${why}: ${nameOf(queued)}`);
      await this.#store.noticeFailed(queued.id, null, why);
      return;
    }
    lane.waiting.push(queued);
    this.#fill(lane);
  }

  #fill(lane: Lane): void {
    while (lane.inHand.size < PARALLEL && !this.#isStopped) {
      const queued = lane.waiting.shift();
      if (queued === undefined) return;
      const sending = this.#send(lane.channel, queued).finally(() => {
        lane.inHand.delete(sending);
        const wasFull = lane.inHand.size === PARALLEL - 1;
        this.#fill(lane);
        if (wasFull && lane.waiting.length === 0 && this.#looking === null) this.#lookSoon(0);
      });
      lane.inHand.add(sending);
    }
  }

  async #send(channel: Channel, queued: QueuedNotice): Promise<void> {
    const outcome = await channel.send(queued, this.#cut.signal);
    const counts = this.counts[channel.name]!;
    if (outcome.kind === 'sent') {
      counts.sent += 1;
      if (outcome.note !== undefined) this.#log.warn(`${channel.name}: ${outcome.note}: ${nameOf(queued)}`);
      return this.#tell(() => this.#store.noticeSent(queued.id));
    }
    const againMs = this.#cut.signal.aborted ? this.#clock.nowMs() : this.#againMs(queued, outcome);
    if (againMs === null) counts.givenUp += 1;
    else counts.failed += 1;
    if (queued.attempts === 0 || againMs === null) {
      const what = againMs === null ? 'given up' : 'not sent yet';
      this.#log.warn(`${channel.name}: ${what}, ${outcome.why}: ${nameOf(queued)}`);
    }
    return this.#tell(() => this.#store.noticeFailed(queued.id, againMs, outcome.why));
  }

  #againMs({ attempts, notice }: QueuedNotice, outcome: Exclude<Outcome, { kind: 'sent' }>): number | null {
    if (outcome.kind === 'never') return null;
    const { notBeforeMs = 0 } = outcome;
    return againAtMs({ attempts, bornMs: notice.ms, notBeforeMs }, this.#clock.nowMs(), this.#random);
  }

  /** Until the store has it; what it never hears of is sent again when the lease is over. */
  async #tell(tell: () => Promise<void>): Promise<void> {
    const untilMs = this.#clock.nowMs() + LEASE_MS;
    for (;;) {
      try {
        return await tell();
      } catch (error) {
        if (!(error instanceof StoreError)) throw error;
        if (this.#isStopped || this.#clock.nowMs() >= untilMs) return;
        await this.#pause(STORE_AWAY_MS);
      }
    }
  }
}

interface Lane {
  channel: Channel;
  waiting: QueuedNotice[];
  inHand: Set<Promise<void>>;
}

const isFull = ({ inHand }: Lane): boolean => inHand.size >= PARALLEL;

const nameOf = ({ notice }: QueuedNotice): string =>
  `${notice.why} ${notice.alert.rule} of ${notice.fleet}/${notice.truck}, alert ${notice.alert.id}`;
