import { connect, type Socket } from 'node:net';
import type { IClientOptions, MqttClient } from 'mqtt';
import type { BrokerAddress } from './broker-url.js';
import type { PublisherClock } from './clock.js';
import { type Abilities, abilitiesOf, REFUSALS } from './connack.js';
import { errorLine } from './error-line.js';
import { boundInput, limitsFor } from './input-bound.js';
import { ReadingGate, type TakeMessage } from './reading-gate.js';
import { clientOver, userOf } from './stream.js';

export type ProtocolVersion = 4 | 5;

/** Why there is no connection (any more). */
export interface ConnectionEnd {
  reason:
    | 'refused-version'
    | 'refused-retain'
    | 'refused'
    | 'closed-before-connack'
    | 'network'
    | 'lost'
    | 'taken-over'
    | 'publish'
    | 'ended';
  /** One line without address and credentials. */
  detail: string;
}

export interface ConnectionOptions {
  address: BrokerAddress;
  version: ProtocolVersion;
  clientId: string;
  /** null: nothing is said when the connection breaks. */
  will: { topic: string; payload: string; retain: boolean } | null;
  /** Credentials, keep-alive and the like; what the publisher depends on cannot be changed by it. */
  client: IClientOptions;
  connectMs: number;
  pubackMs: number;
  clock: Pick<PublisherClock, 'after'>;
  /** Is the host's clock known to be right? Only for the words of a certificate that it takes for expired. */
  clockSynced: () => boolean;
  /** Messages that the broker may send at once without our acknowledgement; its own choice without it. MQTT 5 only. */
  receiveMaximum?: number;
  /** The broker keeps for so long what comes for us while we are away, s; without it nothing. In MQTT 3.1.1 its own choice. */
  sessionS?: number;
  onConnected(): void;
  onMessage: TakeMessage;
  /** Exactly once. */
  onEnd(end: ConnectionEnd): void;
}

/** Session taken over, MQTT 5.0 §3.14.2.1. */
const TAKEN_OVER = 0x8e;
/** Receive Maximum when the broker names none, MQTT 5.0 §3.2.2.3.3. */
const DEFAULT_RECEIVE_MAXIMUM = 65_535;
/** Reason codes from here on say no: MQTT 5.0 §2.4. */
const REFUSING = 0x80;
/** Fixed header, length of the topic, packet identifier, length of the properties: MQTT 5.0 §3.3. */
const PUBLISH_OVERHEAD = 5 + 2 + 2 + 1;
/** How often the broker's answer may take its time again because we did not read. */
const MAX_EXTENSIONS = 10;

/** What the broker said to a message. */
export interface Answered {
  acknowledged(): void;
  /** It does not want this one; the connection stands. `why`: in words. */
  refused(why: string): void;
}

/**
 * One connection to the broker, from CONNECT to its end. No PUBACK in time ends it: what was not acknowledged is sent again on
 * the next one. The client's own queue, store and reconnecting are not used.
 */
export class Connection {
  readonly #options: ConnectionOptions;
  readonly #socket: Socket;
  /** null until the TCP connection stands. */
  #client: MqttClient | null = null;
  #gate: ReadingGate | null = null;
  readonly #cancels = new Set<() => void>();
  readonly #cancelConnect: () => void;
  #connected = false;
  #ended = false;
  #inFlight = 0;

  constructor(options: ConnectionOptions) {
    this.#options = options;
    const { host, port } = options.address;
    this.#cancelConnect = this.#after(options.connectMs, () => {
      this.#end({ reason: 'network', detail: 'no answer to CONNECT' });
    });
    // Several small messages follow each other: none waits for the round trip of the one before (Nagle's algorithm).
    this.#socket = connect({ host, port, noDelay: true });
    this.#socket.on('error', (error) => this.#onError(error));
    this.#socket.once('connect', () => {
      if (this.#ended) return;
      try {
        this.#client = this.#speak();
      } catch (error) {
        // Options that cannot be used, e.g. a certificate that is none.
        this.#onError(error);
      }
    });
  }

  #speak(): MqttClient {
    const {
      address,
      client: more,
      clientId,
      version,
      will,
      connectMs,
      receiveMaximum,
      sessionS,
      onConnected,
    } = this.#options;
    const client = clientOver(this.#socket, address, {
      keepalive: 30,
      ...more,
      ...userOf(address, more),
      protocolVersion: version,
      protocolId: 'MQTT',
      clientId,
      clean: sessionS === undefined,
      reconnectPeriod: 0,
      // Longer than our own limit, which also covers a socket that hangs in TLS.
      connectTimeout: connectMs + 5000,
      queueQoSZero: false,
      resubscribe: false,
      ...(version === 5 && { properties: limitsFor(receiveMaximum, sessionS) }),
      ...(will !== null && {
        will: { topic: will.topic, payload: Buffer.from(will.payload), qos: 1, retain: will.retain },
      }),
    });
    client.on('connect', () => {
      if (this.#ended) return;
      this.#connected = true;
      this.#cancelConnect();
      onConnected();
    });
    const take: TakeMessage = (...message) => (this.#ended ? undefined : this.#options.onMessage(...message));
    this.#gate = new ReadingGate(client, take, (error) => {
      this.#end({ reason: 'lost', detail: `a message could not be taken: ${this.#lineOf(error)}` });
    });
    boundInput(client, () => this.#end({ reason: 'lost', detail: 'the broker sends an endless packet' }));
    client.on('error', (error) => this.#onError(error));
    client.on('disconnect', (packet) => {
      const code = packet.reasonCode ?? 0;
      const takenOver = code === TAKEN_OVER;
      this.#end({ reason: takenOver ? 'taken-over' : 'lost', detail: `broker sent DISCONNECT with code ${code}` });
    });
    client.on('close', () => {
      if (this.#connected) this.#end({ reason: 'lost', detail: 'connection closed' });
      else this.#end({ reason: 'closed-before-connack', detail: 'connection closed before CONNACK' });
    });
    return client;
  }

  /** Bytes over the socket so far, TLS and WebSocket included, TCP's and IP's own headers not. */
  get bytes(): { sent: number; received: number } {
    return { sent: this.#socket.bytesWritten, received: this.#socket.bytesRead };
  }

  /** Messages sent and not yet acknowledged. */
  get inFlight(): number {
    return this.#inFlight;
  }

  /** What the broker takes at once without an acknowledgement. */
  get receiveMaximum(): number {
    return this.#client?.serverProperties?.receiveMaximum ?? DEFAULT_RECEIVE_MAXIMUM;
  }

  /** What the broker says that it can do. */
  get abilities(): Abilities {
    return abilitiesOf(this.#options.version, this.#client?.serverProperties);
  }

  /** Publishes with QoS 1; not retained where the broker retains nothing. `answered` is called at the PUBACK and never after the connection's end. */
  send(topic: string, payload: string, retain: boolean, answered: Answered): void {
    const client = this.#client;
    if (client === null || !this.#connected || this.#ended) return;
    const bytes = Buffer.byteLength(payload) + topic.length + PUBLISH_OVERHEAD;
    if (bytes > (client.serverProperties?.maximumPacketSize ?? Number.POSITIVE_INFINITY)) {
      answered.refused(`${bytes} bytes are more than it takes`);
      return;
    }
    this.#inFlight += 1;
    const cancel = this.#answerWithin(`no PUBACK in ${Math.round(this.#options.pubackMs / 1000)} s`);
    client.publish(topic, payload, { qos: 1, retain: retain && this.abilities.retained }, (error) => {
      cancel();
      if (this.#ended) return;
      this.#inFlight -= 1;
      if (!error) answered.acknowledged();
      else if (isRefusal(error)) answered.refused(this.#lineOf(error));
      else this.#failed(error);
    });
  }

  /** `done` is told for each filter whether the broker has granted it, and is never called after the connection's end. */
  subscribe(filters: string[], done: (granted: boolean[]) => void): void {
    const client = this.#client;
    if (client === null || !this.#connected || this.#ended) return;
    const cancel = this.#answerWithin('no SUBACK in time');
    client.subscribe(filters, { qos: 1 }, (error, _filters, packet) => {
      cancel();
      if (this.#ended) return;
      // With an error the packet has come all the same if it is about single filters.
      if (packet !== undefined) done(filters.map((_, index) => Number(packet.granted?.[index]) < REFUSING));
      else this.#failed(error);
    });
  }

  /** Ends the connection when no answer comes in time. While the reader holds, or has held meanwhile, it may wait behind a message. */
  #answerWithin(detail: string, extensions = MAX_EXTENSIONS): () => void {
    const holds = this.#gate?.holds;
    let cancel = this.#after(this.#options.pubackMs, () => {
      const held = this.#gate?.holding === true || this.#gate?.holds !== holds;
      if (held && extensions > 0) cancel = this.#answerWithin(detail, extensions - 1);
      else this.#end({ reason: 'publish', detail });
    });
    return () => cancel();
  }

  /**
   * The client gives up on what is in flight, one after the other; ended in the midst of it, it would stumble over those that
   * are gone (MQTT.js 5.16, `_flush`), and end the process with it.
   */
  #failed(error: unknown): void {
    queueMicrotask(() => this.#end({ reason: 'publish', detail: this.#lineOf(error) }));
  }

  /** DISCONNECT, so that the will is not published; the socket is closed at the latest after `ms`. */
  disconnect(ms: number): Promise<void> {
    const client = this.#client;
    if (client === null) this.abort('ended by us');
    if (client === null || this.#ended) return Promise.resolve();
    return new Promise((resolve) => {
      const finish = (): void => {
        this.#end({ reason: 'ended', detail: 'ended by us' });
        resolve();
      };
      const cancel = this.#options.clock.after(ms, finish);
      client.end(false, {}, () => {
        cancel();
        finish();
      });
    });
  }

  /** Drops the connection without DISCONNECT. */
  abort(detail: string): void {
    this.#end({ reason: 'lost', detail });
  }

  #onError(error: unknown): void {
    if (this.#connected) {
      this.#end({ reason: 'lost', detail: this.#lineOf(error) });
      return;
    }
    const code = (error as { code?: unknown }).code;
    const detail = this.#lineOf(error);
    if (typeof code !== 'number') this.#end({ reason: 'network', detail });
    else this.#end({ reason: REFUSALS.get(code) ?? 'refused', detail });
  }

  #lineOf(error: unknown): string {
    return errorLine(error, { wallMs: Date.now(), isRight: this.#options.clockSynced() });
  }

  #after(ms: number, callback: () => void): () => void {
    const cancel = this.#options.clock.after(ms, () => {
      this.#cancels.delete(cancel);
      callback();
    });
    const cancelOnce = (): void => {
      this.#cancels.delete(cancel);
      cancel();
    };
    this.#cancels.add(cancel);
    return cancelOnce;
  }

  #end(end: ConnectionEnd): void {
    if (this.#ended) return;
    this.#ended = true;
    for (const cancel of this.#cancels) cancel();
    this.#cancels.clear();
    this.#client?.end(true);
    this.#socket.destroy();
    this.#options.onEnd(end);
  }
}

function isRefusal(error: unknown): boolean {
  const { code } = error as { code?: unknown };
  return typeof code === 'number' && code >= REFUSING;
}
