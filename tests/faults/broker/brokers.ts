import { createServer, type Socket } from 'node:net';
import { startEmbeddedBroker } from '../../../adapters/mqtt/embedded-broker.js';
import {
  CONNECT,
  connack,
  type Packet,
  PacketReader,
  PINGREQ,
  PUBLISH,
  pingresp,
  puback,
  publish,
  readPublish,
  SUBSCRIBE,
  suback,
} from './packets.js';

/** A broker inside this process, with the office beside it. */
export interface TestBroker {
  port: number;
  version: 4 | 5;
  /** To whoever has subscribed, now and later. */
  retain(topic: string, payload: string): void;
  close(): Promise<void>;
}

export type OnPublish = (topic: string, payload: string) => void;

export async function startAedes(onPublish: OnPublish): Promise<TestBroker> {
  const broker = await startEmbeddedBroker();
  broker.aedes.on('publish', (packet, client) => {
    if (client !== null) onPublish(packet.topic, packet.payload.toString());
  });
  return {
    port: broker.port,
    version: 4,
    retain: (topic, payload) => {
      broker.aedes.publish(
        { cmd: 'publish', topic, payload: Buffer.from(payload), qos: 0, retain: true, dup: false },
        () => {},
      );
    },
    close: () => broker.close(),
  };
}

/** As much of a broker of MQTT 5 as a truck needs: aedes speaks 3.1.1 only. */
export async function startBroker5(onPublish: OnPublish): Promise<TestBroker> {
  const sockets = new Set<Socket>();
  const subscribed = new Set<Socket>();
  let retained: { topic: string; payload: string } | null = null;
  const answer = (socket: Socket, packet: Packet): void => {
    if (packet.type === CONNECT) {
      socket.write(packet.body[6] === 5 ? connack(5) : connack(4, 1));
    } else if (packet.type === PUBLISH) {
      const { topic, id, payload } = readPublish(packet, 5);
      onPublish(topic, payload);
      socket.write(puback(5, id));
    } else if (packet.type === SUBSCRIBE) {
      subscribed.add(socket);
      socket.write(suback(5, packet.body.readUInt16BE(0), 1));
      if (retained !== null) socket.write(publish(5, retained.topic, retained.payload, true));
    } else if (packet.type === PINGREQ) socket.write(pingresp());
  };
  const server = createServer({ noDelay: true }, (socket) => {
    const reader = new PacketReader();
    sockets.add(socket);
    socket.on('close', () => {
      sockets.delete(socket);
      subscribed.delete(socket);
    });
    socket.on('error', () => {});
    socket.on('data', (chunk) => {
      for (const packet of reader.push(chunk)) answer(socket, packet);
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return {
    port: (server.address() as { port: number }).port,
    version: 5,
    retain: (topic, payload) => {
      retained = { topic, payload };
      for (const socket of subscribed) socket.write(publish(5, topic, payload, false));
    },
    close: async () => {
      for (const socket of sockets) socket.destroy();
      await new Promise<void>((resolve) => server.close(() => resolve()));
    },
  };
}
