import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { connect, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { mosquittoIsInstalled } from '../../adapters/mqtt/mosquitto.js';

export interface RealBroker {
  url: string;
  stop(): void;
}

/** A broker in a process of its own: mosquitto, or aedes where that is not installed. */
export async function startBroker(): Promise<RealBroker> {
  if (mosquittoIsInstalled) return startMosquitto();
  const child = spawn(process.execPath, [fileURLToPath(new URL('broker.mjs', import.meta.url))], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const [chunk] = (await once(child.stdout!, 'data')) as [Buffer];
  return { url: `mqtt://127.0.0.1:${chunk.toString().trim()}`, stop: () => child.kill('SIGKILL') };
}

async function startMosquitto(): Promise<RealBroker> {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-broker-'));
  const port = await freePort();
  const file = join(folder, 'mosquitto.conf');
  // Started as root it would become a user who may not read the folder.
  writeFileSync(file, `user root\npersistence false\nlistener ${port} 127.0.0.1\nallow_anonymous true\n`);
  const child = spawn('mosquitto', ['-c', file], { stdio: 'ignore' });
  while (!(await answers(port, child)));
  const stop = (): void => {
    child.kill('SIGKILL');
    rmSync(folder, { recursive: true, force: true });
  };
  return { url: `mqtt://127.0.0.1:${port}`, stop };
}

async function freePort(): Promise<number> {
  const server = createServer().listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as { port: number };
  server.close();
  await once(server, 'close');
  return port;
}

async function answers(port: number, child: ChildProcess): Promise<boolean> {
  if (child.exitCode !== null) throw new Error('mosquitto does not start');
  const socket = connect(port, '127.0.0.1');
  const connected = await once(socket, 'connect').then(
    () => true,
    () => false,
  );
  socket.destroy();
  return connected;
}
