import mqtt, { type IClientOptions, type MqttClient } from 'mqtt';
import type { BrokerAddress } from './broker-url.js';
import type { PublisherClock } from './clock.js';

export type ProtocolVersion = 4 | 5;

/** Why there is no connection (any more). */
export interface ConnectionEnd {
  reason:
    | 'refused-version'
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
  will: { topic: string; payload: string; retain: boolean };
  /** TLS files, keep-alive and the like; what the publisher depends on cannot be changed by it. */
  client: IClientOptions;
  connectMs: number;
  pubackMs: number;
  clock: PublisherClock;
  onConnected(): void;
  onMessage(topic: string, payload: Uint8Array): void;
  /** Exactly once. */
  onEnd(end: ConnectionEnd): void;
}

/** CONNACK codes for a protocol version that the broker does not speak: MQTT 3.1.1 §3.2.2.3, MQTT 5.0 §3.2.2.2. */
const VERSION_REFUSED = new Set([1, 0x84]);
/** Session taken over, MQTT 5.0 §3.14.2.1. */
const TAKEN_OVER = 0x8e;
/** Receive Maximum when the broker names none, MQTT 5.0 §3.2.2.3.3. */
const DEFAULT_RECEIVE_MAXIMUM = 65_535;

function errorLine(error: unknown): string {
  const { code, message } = error as { code?: unknown; message?: unknown };
  // A socket's message repeats the address; its code says all that is needed.
  if (typeof code === 'string') return code;
  return typeof message === 'string' && message !== '' ? message.slice(0, 200) : 'unknown error';
}

/**
 * One connection to the broker, from CONNECT to its end. A PUBACK with an error code, or none in time, ends it: what was not
 * acknowledged is sent again on the next one. The client's own queue, store and reconnecting are not used.
 */
export class Connection {
  readonly #options: ConnectionOptions;
  readonly #client: MqttClient;
  readonly #cancels = new Set<() => void>();
  #connected = false;
  #ended = false;
  #inFlight = 0;

  constructor(options: ConnectionOptions) {
    this.#options = options;
    const { address } = options;
    this.#client = mqtt.connect({
      keepalive: 30,
      ...options.client,
      protocol: address.protocol,
      host: address.host,
      port: address.port,
      path: address.path,
      ...(address.username !== null && { username: address.username }),
      ...(address.password !== null && { password: address.password }),
      protocolVersion: options.version,
      protocolId: 'MQTT',
      clientId: options.clientId,
      clean: true,
      reconnectPeriod: 0,
      // Longer than our own limit below, which also covers a socket that hangs in TLS.
      connectTimeout: options.connectMs + 5000,
      queueQoSZero: false,
      resubscribe: false,
      will: {
        topic: options.will.topic,
        payload: Buffer.from(options.will.payload),
        qos: 1,
        retain: options.will.retain,
      },
    });
    const cancelConnect = this.#after(options.connectMs, () => {
      this.#end({ reason: 'network', detail: 'no answer to CONNECT' });
    });
    this.#client.on('connect', () => {
      if (this.#ended) return;
      this.#connected = true;
      cancelConnect();
      options.onConnected();
    });
    this.#client.on('message', (topic, payload) => {
      if (!this.#ended) options.onMessage(topic, payload);
    });
    this.#client.on('error', (error) => this.#onError(error));
    this.#client.on('disconnect', (packet) => {
      const code = packet.reasonCode ?? 0;
      const takenOver = code === TAKEN_OVER;
      this.#end({ reason: takenOver ? 'taken-over' : 'lost', detail: `broker sent DISCONNECT with code ${code}` });
    });
    this.#client.on('close', () => {
      if (this.#connected) this.#end({ reason: 'lost', detail: 'connection closed' });
      else this.#end({ reason: 'closed-before-connack', detail: 'connection closed before CONNACK' });
    });
  }

  /** Messages sent and not yet acknowledged. */
  get inFlight(): number {
    return this.#inFlight;
  }

  /** What the broker takes at once without an acknowledgement. */
  get receiveMaximum(): number {
    return this.#client.serverProperties?.receiveMaximum ?? DEFAULT_RECEIVE_MAXIMUM;
  }

  /** Publishes with QoS 1. `acknowledged` is called at the PUBACK and never after the connection's end. */
  send(topic: string, payload: string, retain: boolean, acknowledged: () => void): void {
    if (!this.#connected || this.#ended) return;
    this.#inFlight += 1;
    const cancel = this.#after(this.#options.pubackMs, () => {
      this.#end({ reason: 'publish', detail: `no PUBACK in ${Math.round(this.#options.pubackMs / 1000)} s` });
    });
    this.#client.publish(topic, payload, { qos: 1, retain }, (error) => {
      cancel();
      if (this.#ended) return;
      this.#inFlight -= 1;
      if (error) this.#end({ reason: 'publish', detail: errorLine(error) });
      else acknowledged();
    });
  }

  /** Resolves false when the broker refuses, or the connection ends first. */
  subscribe(topic: string, done: (granted: boolean) => void): void {
    if (!this.#connected || this.#ended) return;
    const cancel = this.#after(this.#options.pubackMs, () => {
      this.#end({ reason: 'publish', detail: 'no SUBACK in time' });
    });
    this.#client.subscribe(topic, { qos: 1 }, (error) => {
      cancel();
      if (!this.#ended) done(!error);
    });
  }

  /** DISCONNECT, so that the will is not published; the socket is closed at the latest after `ms`. */
  disconnect(ms: number): Promise<void> {
    if (this.#ended) return Promise.resolve();
    return new Promise((resolve) => {
      const finish = (): void => {
        this.#end({ reason: 'ended', detail: 'ended by us' });
        resolve();
      };
      const cancel = this.#options.clock.after(ms, finish);
      this.#client.end(false, {}, () => {
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
      this.#end({ reason: 'lost', detail: errorLine(error) });
      return;
    }
    const code = (error as { code?: unknown }).code;
    if (typeof code !== 'number') this.#end({ reason: 'network', detail: errorLine(error) });
    else if (VERSION_REFUSED.has(code)) this.#end({ reason: 'refused-version', detail: errorLine(error) });
    else this.#end({ reason: 'refused', detail: errorLine(error) });
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
    this.#client.end(true);
    this.#options.onEnd(end);
  }
}
