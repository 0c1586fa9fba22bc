import { connect, createServer, type Server, type Socket } from 'node:net';
import {
  CONNACK,
  CONNECT,
  connack,
  endlessHeader,
  type Packet,
  PacketReader,
  PUBACK,
  PUBLISH,
  puback,
  readPublish,
  SUBACK,
  SUBSCRIBE,
  suback,
} from './packets.js';

export const FAULTS = [
  'half-open',
  'no PUBACK',
  'no SUBACK',
  'double PUBACK',
  'unknown PUBACK',
  'kick after CONNACK',
  'one byte a second',
  'reset in mid-packet',
  'refuses a topic',
  'endless packet',
  'refuses both versions',
] as const;
export type Fault = (typeof FAULTS)[number];

/** What is done to connections through the proxy from now on. */
export interface Trouble {
  fault: Fault;
  /** For 'refuses a topic': its last word. */
  topic: string;
  /** In [0, 1). */
  random(): number;
}

const ENDLESS_CHUNK = Buffer.alloc(65_536, 0x41);

/** A TCP proxy between a truck and its broker that knows where packets begin. */
export class BrokerProxy {
  trouble: Trouble | null = null;
  /** Moments at which the truck connected. */
  readonly connectedAt: number[] = [];
  /** Grows with everything that happens. */
  activity = 0;
  readonly #server: Server;
  readonly #links = new Set<ProxyLink>();

  private constructor(server: Server) {
    this.#server = server;
  }

  static async start(brokerPort: number, nowMs: () => number): Promise<BrokerProxy> {
    const server = createServer({ noDelay: true }, (truck) => {
      proxy.activity += 1;
      proxy.connectedAt.push(nowMs());
      const link = new ProxyLink(proxy, truck, brokerPort);
      proxy.#links.add(link);
      truck.on('close', () => proxy.#links.delete(link));
    });
    const proxy = new BrokerProxy(server);
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
    return proxy;
  }

  get url(): string {
    return `mqtt://127.0.0.1:${(this.#server.address() as { port: number }).port}`;
  }

  /** Connections of the truck that stand. */
  get open(): number {
    return this.#links.size;
  }

  async close(): Promise<void> {
    for (const link of this.#links) link.destroy();
    await new Promise<void>((resolve) => this.#server.close(() => resolve()));
  }
}

class ProxyLink {
  readonly #proxy: BrokerProxy;
  readonly #truck: Socket;
  readonly #broker: Socket;
  #version = 5;
  /** Nothing passes any more, and nobody is told. */
  #dead = false;
  #slow: Buffer = Buffer.alloc(0);
  #timer: NodeJS.Timeout | null = null;

  constructor(proxy: BrokerProxy, truck: Socket, brokerPort: number) {
    this.#proxy = proxy;
    this.#truck = truck;
    this.#broker = connect({ host: '127.0.0.1', port: brokerPort, noDelay: true });
    this.#read(truck, (packet) => this.#up(packet));
    this.#read(this.#broker, (packet) => this.#down(packet));
    truck.on('close', () => this.destroy());
    this.#broker.on('close', () => {
      if (!this.#dead) this.destroy();
    });
  }

  destroy(): void {
    this.#dead = true;
    if (this.#timer !== null) clearInterval(this.#timer);
    this.#truck.destroy();
    this.#broker.destroy();
  }

  #read(socket: Socket, take: (packet: Packet) => void): void {
    const reader = new PacketReader();
    socket.on('error', () => {});
    socket.on('data', (chunk: Buffer) => {
      this.#proxy.activity += 1;
      for (const packet of reader.push(chunk)) {
        if (this.#proxy.trouble?.fault === 'half-open') this.#dead = true;
        if (!this.#dead) take(packet);
      }
    });
  }

  /** From the truck to the broker. */
  #up(packet: Packet): void {
    const { trouble } = this.#proxy;
    if (packet.type === CONNECT) {
      this.#version = packet.body[6]!;
      if (trouble?.fault === 'refuses both versions') {
        this.#truck.end(connack(this.#version, this.#version === 5 ? 0x84 : 1));
        return;
      }
    }
    if (trouble?.fault === 'refuses a topic' && this.#refuses(packet, trouble.topic)) return;
    if (trouble?.fault === 'reset in mid-packet' && packet.type === PUBLISH && trouble.random() < 0.1) {
      this.#broker.write(packet.bytes.subarray(0, packet.bytes.length >> 1));
      this.#truck.resetAndDestroy();
      this.#dead = true;
      return;
    }
    this.#broker.write(packet.bytes);
  }

  /** True: it goes no further. A broker of MQTT 3.1.1 can only hang up. */
  #refuses(packet: Packet, topic: string): boolean {
    if (packet.type === SUBSCRIBE && topic === 'answer') {
      this.#truck.write(suback(this.#version, packet.body.readUInt16BE(0), this.#version === 5 ? 0x87 : 0x80));
      return true;
    }
    if (packet.type !== PUBLISH) return false;
    const message = readPublish(packet, this.#version);
    if (!message.topic.endsWith(`/${topic}`)) return false;
    if (this.#version === 5) this.#truck.write(puback(5, message.id, 0x87));
    else this.destroy();
    return true;
  }

  /** From the broker to the truck. */
  #down(packet: Packet): void {
    const { trouble } = this.#proxy;
    if (trouble === null && this.#slow.length === 0) {
      this.#truck.write(packet.bytes);
      return;
    }
    switch (trouble?.fault) {
      case 'no PUBACK':
        if (packet.type !== PUBACK) this.#truck.write(packet.bytes);
        break;
      case 'no SUBACK':
        if (packet.type !== SUBACK) this.#truck.write(packet.bytes);
        break;
      case 'double PUBACK':
        this.#truck.write(packet.bytes);
        if (packet.type === PUBACK) this.#truck.write(packet.bytes);
        break;
      case 'unknown PUBACK':
        if (packet.type === PUBACK) this.#truck.write(puback(this.#version, packet.body.readUInt16BE(0) ^ 0x5555));
        this.#truck.write(packet.bytes);
        break;
      case 'kick after CONNACK':
        this.#truck.write(packet.bytes);
        if (packet.type === CONNACK) this.#truck.end();
        break;
      case 'reset in mid-packet':
        if (trouble.random() < 0.1) {
          this.#truck.write(packet.bytes.subarray(0, packet.bytes.length >> 1));
          setTimeout(() => this.#truck.resetAndDestroy(), 50);
          this.#dead = true;
        } else this.#truck.write(packet.bytes);
        break;
      case 'endless packet':
        this.#truck.write(packet.bytes);
        if (packet.type === CONNACK) this.#flood();
        break;
      case 'one byte a second':
        this.#dribble(packet.bytes);
        break;
      default:
        if (this.#slow.length > 0) this.#dribble(packet.bytes);
        else this.#truck.write(packet.bytes);
    }
  }

  /** A connection that is slow stays so. */
  #dribble(bytes: Buffer): void {
    this.#slow = Buffer.concat([this.#slow, bytes]);
    this.#timer ??= setInterval(() => {
      if (this.#slow.length === 0) return;
      this.#proxy.activity += 1;
      this.#truck.write(this.#slow.subarray(0, 1));
      this.#slow = this.#slow.subarray(1);
    }, 1000);
  }

  #flood(): void {
    this.#truck.write(endlessHeader());
    this.#timer ??= setInterval(() => {
      if (this.#truck.writableLength === 0) this.#truck.write(ENDLESS_CHUNK);
    }, 100);
  }
}
