import { createServer, type Socket } from 'node:net';
import type { Aedes } from 'aedes';

export interface EmbeddedBroker {
  url: string;
  port: number;
  /** The broker itself, e.g. to watch what it is sent. */
  aedes: Aedes;
  /** Cuts every connection at once, as a network does that goes away. */
  dropAll(): void;
  close(): Promise<void>;
}

/**
 * A broker inside this process, for the demo and tests: MQTT 3.1.1, memory only, on loopback. Port 0 takes a free one.
 * Rejects when the port is taken, or with one clear line when the `aedes` package (a development dependency) is not installed.
 */
export async function startEmbeddedBroker(options: { port?: number } = {}): Promise<EmbeddedBroker> {
  const module = await import('aedes').catch((cause: unknown) => {
    throw new Error('the built-in broker needs the package "aedes"; install it, or give the URL of a broker', {
      cause,
    });
  });
  const aedes = await module.Aedes.createBroker();
  const sockets = new Set<Socket>();
  const server = createServer({ noDelay: true }, (socket) => {
    sockets.add(socket);
    socket.on('close', () => sockets.delete(socket));
    aedes.handle(socket);
  });
  try {
    await new Promise<void>((resolve, reject) => {
      server.once('error', reject);
      server.listen(options.port ?? 0, '127.0.0.1', resolve);
    });
  } catch (error) {
    aedes.close();
    throw error;
  }
  const address = server.address();
  if (address === null || typeof address === 'string') throw new Error('a TCP server without a port');
  const dropAll = (): void => {
    for (const socket of sockets) socket.destroy();
  };
  return {
    url: `mqtt://127.0.0.1:${address.port}`,
    port: address.port,
    aedes,
    dropAll,
    close: async () => {
      const closed = new Promise<void>((resolve) => server.close(() => resolve()));
      dropAll();
      await new Promise<void>((resolve) => aedes.close(() => resolve()));
      await closed;
    },
  };
}
