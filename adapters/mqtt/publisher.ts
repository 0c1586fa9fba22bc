import { isoTime } from '../../daemon/alerts/iso-time.js';
import type { NumberedEvent, RunInfo } from '../../daemon/alerts/numbered.js';
import type { ReadingReport } from '../../daemon/effects.js';
import { AnswerReceiver } from './answer-receiver.js';
import { type BrokerAddress, parseBrokerUrl } from './broker-url.js';
import type { Answered, Connection } from './connection.js';
import type { Encoded } from './encode.js';
import { LatestSender } from './latest-sender.js';
import { Link } from './link.js';
import type { AnswerMessage } from './messages.js';
import { OutboxSender } from './outbox-sender.js';
import { Progress } from './progress.js';
import {
  DEFAULT_TIMINGS,
  LINK_WORDS,
  type PresenceState,
  type PublisherHealth,
  type PublisherOptions,
  type PublisherTimings,
  WINDOW,
} from './publisher-options.js';
import { Refusals } from './refusals.js';
import type { TopicName } from './topics.js';
import { TruckMessages } from './truck-messages.js';

/**
 * Brings events from the store's outbox to the broker, in order and each at least once, and keeps `open`, `presence` and
 * `reading` current.
 *
 * After each connect `open` and `presence` are acknowledged before the first event goes out. With `confirm: 'broker'` an event
 * leaves the outbox when it and all before it are acknowledged; with `'office'` when the office's answer says so, and until
 * then everything after the office's number is sent again on connect and whenever that number has not moved for a while.
 */
export class Publisher {
  readonly #options: PublisherOptions;
  readonly #timings: PublisherTimings;
  readonly #address: BrokerAddress;
  readonly #messages: TruckMessages;
  readonly #link: Link;
  readonly #outbox: OutboxSender;
  readonly #latest: LatestSender;
  readonly #answers: AnswerReceiver;
  #connection: Connection | null = null;
  #cancelRetry: (() => void) | null = null;
  readonly #progress: Progress;
  readonly #refusals: Refusals;
  readonly #count = { messagesAcknowledged: 0, messagesTrimmed: 0, maxInFlight: 0, storeErrors: 0 };

  /** Throws when the URL is none; the line does not repeat it. */
  constructor(options: PublisherOptions) {
    const { address, error } = parseBrokerUrl(options.url);
    if (address === null) throw new Error(error);
    const { clock, fleet, truck } = options;
    const timings = { ...DEFAULT_TIMINGS, ...options.timings };
    const messages = new TruckMessages(options);
    const id = `${messages.root}-${fleet}-${truck}`;
    this.#address = address;
    this.#options = options;
    this.#timings = timings;
    this.#messages = messages;
    this.#progress = new Progress(clock);
    this.#refusals = new Refusals((line) => this.#log('warn', line));
    this.#latest = new LatestSender({
      source: options.source,
      confirm: options.confirm,
      messages,
      presence: options.presence,
      changed: () => this.#pump(),
      storeFailed: (failure) => this.#storeFailed(failure),
      clock,
      refusedMs: timings.refusedMs,
    });
    this.#outbox = new OutboxSender({
      source: options.source,
      confirm: options.confirm,
      timings,
      clock,
      encode: (event) => messages.event(event),
      changed: () => this.#pump(),
      storeFailed: (failure) => this.#storeFailed(failure),
      storeChanged: () => this.#latest.storeChanged(),
      resending: () => this.#latest.sayGapsAgain(),
      warn: (line) => this.#log('warn', line),
    });
    this.#answers = new AnswerReceiver({
      topic: messages.topic('answer'),
      clock,
      subackMs: timings.subackMs,
      onAnswer: (answer) => this.#answer(answer),
      ready: () => this.#pump(),
      warn: (line) => this.#log('warn', line),
    });
    this.#link = new Link({
      address,
      // A replay must not take over the connection of the truck that it replays.
      clientId: options.replay === true ? `${id}-${Math.floor(clock.random() * 1e9)}` : id,
      client: () => ({ ...options.client, ...options.credentials?.() }),
      clockSynced: () => options.clockSynced?.() ?? true,
      timings,
      clock,
      will: () => ({
        topic: messages.topic('presence'),
        payload: messages.presence({ ...this.#latest.presence, state: 'offline', since: null }).json,
        retain: messages.isRetained('presence'),
      }),
      hold: () => options.hold?.() ?? null,
      words: LINK_WORDS,
      onUp: (connection) => this.#up(connection),
      onDown: () => this.#down(),
      onMessage: (topic, payload) => this.#answers.message(topic, payload),
      log: (level, line) => this.#log(level, line),
    });
  }

  /** Connects, and keeps trying for ever. */
  start(): void {
    // Somebody has allowed it in so many words (config/broker.ts, --yes-publish); here it is only told.
    if (this.#plain) this.#log('warn', `${this.#address.printable} is not encrypted: others may read and forge`);
    this.#link.start();
  }

  /** New events, or the end of a trip, have been committed. */
  poke(): void {
    this.#outbox.poke();
    this.#latest.changed('gap');
    this.#latest.changed('trip');
    this.#pump();
  }

  /** The list of open alerts has changed in the store. */
  openChanged(): void {
    this.#latest.changed('open');
    this.#pump();
  }

  presence(state: PresenceState): void {
    this.#latest.presence = state;
    this.#pump();
  }

  reading(report: ReadingReport, run: RunInfo): void {
    this.#latest.reading(report, run);
    this.#pump();
  }

  /** Events that the store could not take: sent at once, kept only in memory, at most MAX_VOLATILE of them. */
  volatile(events: readonly NumberedEvent[]): void {
    this.#outbox.volatile(events);
    this.#pump();
  }

  health(): PublisherHealth {
    return {
      state: this.#link.state,
      broker: this.#address.printable,
      plain: this.#plain,
      protocolVersion: this.#link.version,
      lastError: this.#link.lastError,
      connects: this.#link.connects,
      failures: this.#link.failures,
      takenOver: this.#link.takenOver,
      bytesSent: this.#link.bytes.sent,
      bytesReceived: this.#link.bytes.received,
      tripsSent: this.#latest.tripsSent,
      inFlight: this.#connection?.inFlight ?? 0,
      messagesRefused: this.#refusals.count,
      confirmedSeq: this.#outbox.confirmedSeq,
      unconfirmedS: this.#outbox.unconfirmedS,
      volatileDropped: this.#outbox.volatileDropped,
      ...this.#outbox.count,
      ...this.#answers.count,
      ...this.#count,
    };
  }

  /**
   * Sends what waits, for at most `drainMs`, then says `offline` and disconnects (at most a second for each). True if all was
   * acknowledged. Does not wait while the broker is away.
   */
  async stop(drainMs: number): Promise<boolean> {
    await this.#progress.until(
      drainMs,
      () => this.#idle || (this.#connection === null && this.#link.state !== 'connecting'),
    );
    const drained = this.#idle;
    const connection = this.#connection;
    this.#connection = null;
    this.#outbox.down();
    this.#latest.down();
    this.#answers.down();
    this.#cancelRetry?.();
    if (connection !== null) await this.#sayOffline(connection);
    await this.#link.stop(1000);
    return drained;
  }

  #sayOffline(connection: Connection): Promise<void> {
    const now = this.#options.clock.wallNow();
    const since = now === null ? null : isoTime(now);
    const { json } = this.#messages.presence({ ...this.#latest.presence, state: 'offline', since });
    return new Promise((resolve) => {
      const cancel = this.#options.clock.after(1000, resolve);
      const done = (): void => {
        cancel();
        resolve();
      };
      const answered = { acknowledged: done, refused: done };
      connection.send(this.#messages.topic('presence'), json, this.#messages.isRetained('presence'), answered);
    });
  }

  get #plain(): boolean {
    return !this.#address.tls && !this.#address.loopback;
  }

  #log(level: 'info' | 'warn', line: string): void {
    this.#options.log?.(level, line);
  }

  #up(connection: Connection): void {
    this.#connection = connection;
    const room = (): number =>
      Math.min(WINDOW, connection.receiveMaximum) - connection.inFlight - this.#latest.reserved;
    this.#latest.up({
      room,
      send: (name, encoded, answered) => this.#send(connection, name, encoded, answered),
    });
    this.#outbox.up({
      room,
      sendEvent: (encoded, answered) => this.#send(connection, 'event', encoded, answered),
    });
    // First, so that the office's number is usually known before anything is sent again.
    if (this.#options.replay !== true) this.#answers.up(connection);
    else this.#pump();
  }

  #down(): void {
    this.#connection = null;
    this.#answers.down();
    this.#latest.down();
    this.#outbox.down();
    this.#progress.made();
  }

  /** Sends whatever may be sent now. Called whenever something has changed; does nothing twice. */
  #pump(): void {
    this.#latest.pump();
    if (this.#latest.boardCurrent) this.#outbox.pump();
    this.#progress.made();
  }

  #send(connection: Connection, name: TopicName, encoded: Encoded, answered: Answered): void {
    if (encoded.trimmed) this.#count.messagesTrimmed += 1;
    const topic = this.#messages.topic(name);
    connection.send(topic, encoded.json, this.#messages.isRetained(name), {
      acknowledged: () => {
        this.#count.messagesAcknowledged += 1;
        this.#refusals.accepted(topic);
        answered.acknowledged();
        this.#pump();
      },
      refused: (why) => {
        this.#refusals.refused(topic, why);
        answered.refused(why);
        this.#pump();
      },
    });
    this.#count.maxInFlight = Math.max(this.#count.maxInFlight, connection.inFlight);
  }

  #answer(answer: AnswerMessage): void {
    const { store, seq } = answer.received ?? { store: '', seq: 0 };
    for (const sender of [this.#outbox, this.#latest]) sender.received(store, seq);
    this.#options.onAnswer?.(answer);
    this.#pump();
  }

  /** The store is asked again after a while; meanwhile everything else goes on. */
  #storeFailed(error: unknown): void {
    this.#count.storeErrors += 1;
    const line = error instanceof Error ? error.message : String(error);
    if (this.#count.storeErrors === 1) this.#log('warn', `the store did not serve the outbox: ${line}; trying again`);
    if (this.#cancelRetry !== null) return;
    this.#cancelRetry = this.#options.clock.after(this.#timings.retryMs, () => {
      this.#cancelRetry = null;
      this.#latest.retry();
      this.#outbox.retry();
      this.#pump();
    });
  }

  /** Nothing waits, and everything sent is acknowledged. */
  get #idle(): boolean {
    const connection = this.#connection;
    if (connection === null || connection.inFlight > 0) return false;
    return this.#latest.boardCurrent && this.#latest.idle && this.#outbox.idle;
  }
}
