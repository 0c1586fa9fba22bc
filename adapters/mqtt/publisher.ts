import { isoTime } from '../../daemon/alerts/iso-time.js';
import type { NumberedEvent, RunInfo } from '../../daemon/alerts/numbered.js';
import type { ReadingReport } from '../../daemon/effects.js';
import { type BrokerAddress, parseBrokerUrl } from './broker-url.js';
import type { Connection } from './connection.js';
import type { Encoded } from './encode.js';
import { LatestSender } from './latest-sender.js';
import { Link } from './link.js';
import { answerSchema, MAX_ANSWER_BYTES, parsePayload } from './messages.js';
import { OutboxSender } from './outbox-sender.js';
import {
  DEFAULT_TIMINGS,
  type PresenceState,
  type PublisherHealth,
  type PublisherOptions,
  type PublisherTimings,
  WINDOW,
} from './publisher-options.js';
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
  #connection: Connection | null = null;
  #cancelRetry: (() => void) | null = null;
  #onProgress: (() => void) | null = null;
  readonly #count = {
    messagesAcknowledged: 0,
    messagesTrimmed: 0,
    maxInFlight: 0,
    answers: 0,
    answersDropped: 0,
    answerRefused: 0,
    storeErrors: 0,
  };

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
    this.#latest = new LatestSender({
      source: options.source,
      messages,
      presence: options.presence,
      changed: () => this.#pump(),
      storeFailed: (failure) => this.#storeFailed(failure),
    });
    this.#outbox = new OutboxSender({
      source: options.source,
      confirm: options.confirm,
      timings,
      clock,
      encode: (event) => messages.event(event),
      changed: () => this.#pump(),
      storeFailed: (failure) => this.#storeFailed(failure),
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
      onUp: (connection) => this.#up(connection),
      onDown: () => this.#down(),
      onMessage: (topic, payload) => this.#message(topic, payload),
      log: (level, line) => this.#log(level, line),
    });
  }

  /** Connects, and keeps trying for ever. */
  start(): void {
    // Consent to send unencrypted off loopback belongs here, once the truck file has a word for it.
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
      confirmedSeq: this.#outbox.confirmedSeq,
      volatileDropped: this.#outbox.volatileDropped,
      ...this.#outbox.count,
      ...this.#count,
    };
  }

  /**
   * Sends what waits, for at most `drainMs`, then says `offline` and disconnects (at most a second for each). True if all was
   * acknowledged. Does not wait while the broker is away.
   */
  async stop(drainMs: number): Promise<boolean> {
    await this.#until(drainMs, () => this.#idle || (this.#connection === null && this.#link.state !== 'connecting'));
    const drained = this.#idle;
    const connection = this.#connection;
    this.#connection = null;
    this.#outbox.down();
    this.#latest.down();
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
      connection.send(this.#messages.topic('presence'), json, this.#messages.isRetained('presence'), () => {
        cancel();
        resolve();
      });
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
      send: (name, encoded, acknowledged) => this.#send(connection, name, encoded, acknowledged),
    });
    this.#outbox.up({
      room,
      sendEvent: (encoded, acknowledged) => this.#send(connection, 'event', encoded, acknowledged),
    });
    if (this.#options.replay === true) {
      this.#pump();
      return;
    }
    // First, so that the office's number is usually known before anything is sent again.
    const topic = this.#messages.topic('answer');
    connection.subscribe(topic, (granted) => {
      if (!granted) {
        this.#count.answerRefused += 1;
        this.#log('warn', `the broker refuses the subscription to ${topic}: nothing from the office will arrive`);
      }
      this.#pump();
    });
  }

  #down(): void {
    this.#connection = null;
    this.#latest.down();
    this.#outbox.down();
    this.#onProgress?.();
  }

  /** Sends whatever may be sent now. Called whenever something has changed; does nothing twice. */
  #pump(): void {
    this.#latest.pump();
    if (this.#latest.boardCurrent) this.#outbox.pump();
    this.#onProgress?.();
  }

  #send(connection: Connection, name: TopicName, encoded: Encoded, acknowledged: () => void): void {
    if (encoded.trimmed) this.#count.messagesTrimmed += 1;
    connection.send(this.#messages.topic(name), encoded.json, this.#messages.isRetained(name), () => {
      this.#count.messagesAcknowledged += 1;
      acknowledged();
      this.#pump();
    });
    this.#count.maxInFlight = Math.max(this.#count.maxInFlight, connection.inFlight);
  }

  #message(topic: string, payload: Uint8Array): void {
    if (topic !== this.#messages.topic('answer') || payload.length === 0) return;
    const { message: answer, error } = parsePayload(answerSchema, payload, MAX_ANSWER_BYTES);
    if (answer === null) {
      this.#count.answersDropped += 1;
      this.#log('warn', `an answer of the office was dropped: ${error}`);
      return;
    }
    this.#count.answers += 1;
    if (answer.received !== null) this.#outbox.received(answer.received.store, answer.received.seq);
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

  #until(ms: number, condition: () => boolean): Promise<void> {
    return new Promise((resolve) => {
      const finish = (): void => {
        this.#onProgress = null;
        cancel();
        resolve();
      };
      const cancel = this.#options.clock.after(ms, finish);
      this.#onProgress = () => {
        if (condition()) finish();
      };
      this.#onProgress();
    });
  }
}
