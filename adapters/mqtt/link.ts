import type { IClientOptions } from 'mqtt';
import { Backoff } from './backoff.js';
import type { BrokerAddress } from './broker-url.js';
import type { PublisherClock } from './clock.js';
import { Connection, type ConnectionEnd, type ProtocolVersion } from './connection.js';
import type { PublisherTimings } from './publisher-options.js';
import type { TakeMessage } from './reading-gate.js';

/** A line about credentials names a file, whose path may be long. */
const MAX_LINE = 500;

export type LinkTimings = Pick<PublisherTimings, 'connectMs' | 'pubackMs' | 'retryMs' | 'version5AgainMs' | 'backoff'>;

export interface LinkOptions {
  address: BrokerAddress;
  clientId: string;
  /** Options of the MQTT client, asked for at each attempt. Throws an Error with one line when there are none. */
  client(): IClientOptions;
  clockSynced(): boolean;
  timings: LinkTimings;
  clock: Pick<PublisherClock, 'nowMs' | 'after' | 'random'>;
  /** The will of the next connection, if it is to have one. */
  will(): { topic: string; payload: string; retain: boolean } | null;
  hold(): string | null;
  /** See ConnectionOptions. */
  receiveMaximum?: number;
  sessionS?: number;
  /** For the log: what happens to messages meanwhile, and why somebody else may have our name. */
  words: { meanwhile: string; takenOver: string };
  onUp(connection: Connection): void;
  /** An attempt or a connection has ended, and none is under way. */
  onDown(): void;
  onMessage: TakeMessage;
  log(level: 'info' | 'warn', line: string): void;
}

/**
 * Keeps one connection to the broker: attempts with jittered back-off, MQTT 5 first and 3.1.1 where the broker refuses it.
 * Never gives up and never throws.
 */
export class Link {
  state: 'new' | 'holding' | 'connecting' | 'connected' | 'waiting' | 'stopped' = 'new';
  lastError: string | null = null;
  connects = 0;
  failures = 0;
  takenOver = 0;
  /** Over all connections that have ended. */
  readonly #bytes = { sent: 0, received: 0 };
  readonly #options: LinkOptions;
  readonly #backoff: Backoff;
  #connection: Connection | null = null;
  #version: ProtocolVersion = 5;
  #version4At = 0;
  /** False where the broker retains nothing: it refuses a will that asks for it. */
  #retains = true;
  /** A broker that refuses both versions must not be tried twice as often. */
  #triedAtOnce = false;
  #connectedAt: number | null = null;
  #cancelTimer: () => void = () => {};
  #lastLine = '';

  constructor(options: LinkOptions) {
    this.#options = options;
    this.#backoff = new Backoff(options.timings.backoff, options.clock.random);
  }

  start(): void {
    if (this.state === 'new') this.#attempt();
  }

  /** Bytes over all sockets so far; see Connection.bytes. */
  get bytes(): { sent: number; received: number } {
    const now = this.#connection?.bytes ?? { sent: 0, received: 0 };
    return { sent: this.#bytes.sent + now.sent, received: this.#bytes.received + now.received };
  }

  get version(): ProtocolVersion | null {
    return this.state === 'connected' ? this.#version : null;
  }

  /** Ends with DISCONNECT when connected, at once otherwise. No attempt follows. */
  async stop(ms: number): Promise<void> {
    this.#cancelTimer();
    const connection = this.#connection;
    const wasConnected = this.state === 'connected';
    this.state = 'stopped';
    if (wasConnected) await connection?.disconnect(ms);
    else connection?.abort('stopped');
  }

  #attempt(): void {
    const options = this.#options;
    const { clock } = options;
    if (this.state === 'stopped') return;
    const reason = options.hold();
    if (reason !== null) {
      this.state = 'holding';
      this.lastError = reason;
      this.#cancelTimer = clock.after(options.timings.retryMs, () => this.#attempt());
      return;
    }
    if (this.#version === 4 && clock.nowMs() - this.#version4At >= options.timings.version5AgainMs) this.#version = 5;
    this.state = 'connecting';
    try {
      const connection: Connection = new Connection({
        address: options.address,
        version: this.#version,
        clientId: options.clientId,
        will: this.#will(),
        client: options.client(),
        clockSynced: options.clockSynced,
        ...(options.receiveMaximum !== undefined && { receiveMaximum: options.receiveMaximum }),
        ...(options.sessionS !== undefined && { sessionS: options.sessionS }),
        connectMs: options.timings.connectMs,
        pubackMs: options.timings.pubackMs,
        clock,
        onConnected: () => this.#connected(connection),
        onMessage: options.onMessage,
        onEnd: (end) => this.#ended(end),
      });
      this.#connection = connection;
    } catch (error) {
      const detail = error instanceof Error ? error.message.slice(0, MAX_LINE) : 'cannot connect';
      this.#ended({ reason: 'network', detail });
    }
  }

  #connected(connection: Connection): void {
    this.state = 'connected';
    this.#triedAtOnce = false;
    this.#retains = connection.abilities.retained;
    this.lastError = null;
    this.connects += 1;
    this.#connectedAt = this.#options.clock.nowMs();
    this.#say(
      'info',
      `connected to ${this.#options.address.printable} with MQTT ${this.#version === 5 ? '5' : '3.1.1'}`,
    );
    this.#options.onUp(connection);
  }

  #ended(end: ConnectionEnd): void {
    const { sent, received } = this.bytes;
    this.#bytes.sent = sent;
    this.#bytes.received = received;
    this.#connection = null;
    const { clock, address, words } = this.#options;
    if (this.#connectedAt !== null) this.#backoff.connectionLasted(clock.nowMs() - this.#connectedAt);
    this.#connectedAt = null;
    if (this.state === 'stopped') {
      this.#options.onDown();
      return;
    }
    if (end.reason === 'refused-version' && this.#version === 5 && !this.#triedAtOnce) {
      this.#triedAtOnce = true;
      this.#toVersion4();
      this.#attempt();
      return;
    }
    if (end.reason === 'refused-retain' && this.#retains) {
      this.#retains = false;
      this.#attempt();
      return;
    }
    // Some brokers hang up on a version that they do not know instead of refusing it.
    if (end.reason === 'closed-before-connack' || end.reason === 'refused-version') {
      if (this.#version === 5) this.#toVersion4();
      else this.#version = 5;
    }
    this.failures += 1;
    if (end.reason === 'taken-over') this.takenOver += 1;
    this.lastError = end.detail;
    const hint = end.reason === 'taken-over' ? `; ${words.takenOver}` : '';
    this.#say('warn', `no connection to ${address.printable}: ${end.detail}${hint}; ${words.meanwhile}`);
    this.state = 'waiting';
    this.#cancelTimer = clock.after(this.#backoff.nextMs(), () => this.#attempt());
    this.#options.onDown();
  }

  #will(): ReturnType<LinkOptions['will']> {
    const will = this.#options.will();
    return will === null ? null : { ...will, retain: will.retain && this.#retains };
  }

  #toVersion4(): void {
    this.#version = 4;
    this.#version4At = this.#options.clock.nowMs();
  }

  /** The same line is said once, not at every attempt. */
  #say(level: 'info' | 'warn', line: string): void {
    if (line === this.#lastLine) return;
    this.#lastLine = line;
    this.#options.log(level, line);
  }
}
