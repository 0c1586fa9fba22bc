import { connect, type Socket } from 'node:net';
import { generate, type Packet, parser } from 'mqtt-packet';
import type { Answered } from '../../../adapters/mqtt/connection.js';

const OPTIONS = { protocolVersion: 5 };
const KEEP_ALIVE_S = 30;
/** Receive Maximum when the broker names none, MQTT 5.0 §3.2.2.3.3. */
const DEFAULT_RECEIVE_MAXIMUM = 65_535;
const REFUSING = 0x80;
const MOST_IDS = 65_535;

export interface WireOptions {
  port: number;
  clientId: string;
  will: { topic: string; payload: string };
  onConnected(wire: Wire): void;
  onMessage(topic: string, payload: Uint8Array): void;
  /** Exactly once. */
  onEnd(): void;
}

/**
 * One MQTT 5 connection of a simulated truck: as little as it takes, so that one process has room for thousands. It has what the
 * senders of adapters/mqtt/ need of a connection, and nothing that protects a truck from a bad broker.
 */
export class Wire {
  receiveMaximum = DEFAULT_RECEIVE_MAXIMUM;
  readonly #socket: Socket;
  readonly #options: WireOptions;
  readonly #answers = new Map<number, Answered>();
  readonly #grants = new Map<number, (granted: boolean[]) => void>();
  #ping: NodeJS.Timeout | null = null;
  #lastId = 0;
  #ended = false;

  constructor(options: WireOptions) {
    this.#options = options;
    this.#socket = connect({ host: '127.0.0.1', port: options.port, noDelay: true });
    const incoming = parser(OPTIONS);
    incoming.on('packet', (packet: Packet) => this.#packet(packet));
    incoming.on('error', () => this.end());
    this.#socket.on('data', (chunk) => incoming.parse(chunk as Buffer));
    this.#socket.on('error', () => this.end());
    this.#socket.on('close', () => this.end());
    this.#socket.once('connect', () => this.#hello());
  }

  get inFlight(): number {
    return this.#answers.size;
  }

  send(topic: string, payload: string, retain: boolean, answered: Answered): void {
    if (this.#ended) return;
    const messageId = this.#nextId();
    this.#answers.set(messageId, answered);
    this.#write({ cmd: 'publish', topic, payload, qos: 1, dup: false, retain, messageId });
  }

  subscribe(topics: readonly string[], done: (granted: boolean[]) => void): void {
    if (this.#ended) return;
    const messageId = this.#nextId();
    this.#grants.set(messageId, done);
    this.#write({ cmd: 'subscribe', messageId, subscriptions: topics.map((topic) => ({ topic, qos: 1 as const })) });
  }

  /** Without DISCONNECT: the broker publishes the will. */
  end(): void {
    if (this.#ended) return;
    this.#ended = true;
    if (this.#ping !== null) clearInterval(this.#ping);
    this.#answers.clear();
    this.#grants.clear();
    this.#socket.destroy();
    this.#options.onEnd();
  }

  #hello(): void {
    const { clientId, will } = this.#options;
    this.#write({
      ...{ cmd: 'connect', protocolId: 'MQTT', protocolVersion: 5, clean: true, keepalive: KEEP_ALIVE_S, clientId },
      will: { ...will, qos: 1, retain: true },
    });
  }

  #packet(packet: Packet): void {
    if (this.#ended) return;
    if (packet.cmd === 'publish') this.#published(packet);
    else if (packet.cmd === 'puback') this.#acknowledged(packet.messageId ?? 0, packet.reasonCode ?? 0);
    else if (packet.cmd === 'connack') this.#welcomed(packet);
    else if (packet.cmd === 'suback') this.#granted(packet.messageId ?? 0, packet.granted as number[]);
    else if (packet.cmd === 'disconnect') this.end();
  }

  #welcomed(packet: Extract<Packet, { cmd: 'connack' }>): void {
    if (packet.reasonCode !== 0) {
      this.end();
      return;
    }
    this.receiveMaximum = packet.properties?.receiveMaximum ?? DEFAULT_RECEIVE_MAXIMUM;
    this.#ping = setInterval(() => this.#write({ cmd: 'pingreq' }), KEEP_ALIVE_S * 1000);
    this.#options.onConnected(this);
  }

  #published(packet: Extract<Packet, { cmd: 'publish' }>): void {
    if (packet.qos === 1) this.#write({ cmd: 'puback', messageId: packet.messageId ?? 0, reasonCode: 0 });
    this.#options.onMessage(packet.topic, packet.payload as Buffer);
  }

  #acknowledged(id: number, reason: number): void {
    const answered = this.#answers.get(id);
    this.#answers.delete(id);
    if (reason < REFUSING) answered?.acknowledged();
    else answered?.refused(`reason ${reason}`);
  }

  #granted(id: number, granted: readonly number[]): void {
    const done = this.#grants.get(id);
    this.#grants.delete(id);
    done?.(granted.map((reason) => reason < REFUSING));
  }

  #nextId(): number {
    do this.#lastId = (this.#lastId % MOST_IDS) + 1;
    while (this.#answers.has(this.#lastId) || this.#grants.has(this.#lastId));
    return this.#lastId;
  }

  #write(packet: Packet): void {
    if (!this.#ended) this.#socket.write(generate(packet, OPTIONS));
  }
}
