import { type ChildProcess, execFileSync, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { connect } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { cleanup, makeBroker } from './harness.js';

export const mosquittoIsInstalled = spawnSync('mosquitto', ['-h'], { stdio: 'ignore' }).error === undefined;

/** A port that was free a moment ago. */
export async function freePort(): Promise<number> {
  const broker = await makeBroker();
  await broker.close();
  return broker.port;
}

/** A folder that goes with the test. */
export function folder(): string {
  const directory = mkdtempSync(join(tmpdir(), 'axlepost-mqtt-'));
  cleanup(async () => rmSync(directory, { recursive: true }));
  return directory;
}

/** Starts a broker with these lines of mosquitto.conf and resolves when it takes connections on every port that they name. */
export async function startMosquitto(directory: string, lines: string[]): Promise<ChildProcess> {
  const file = join(directory, 'mosquitto.conf');
  // Started as root it would become a user who may not read the folder.
  writeFileSync(file, ['user root', 'persistence false', ...lines, ''].join('\n'));
  const child = spawn('mosquitto', ['-c', file], { stdio: 'ignore' });
  cleanup(async () => child.kill('SIGKILL'));
  for (const line of lines) {
    const port = /^listener (\d+)/.exec(line)?.[1];
    while (port !== undefined && !(await answers(Number(port)))) {
      if (child.exitCode !== null) throw new Error(`mosquitto does not take ${lines.join('; ')}`);
    }
  }
  return child;
}

async function answers(port: number): Promise<boolean> {
  const socket = connect(port, '127.0.0.1');
  const connected = await Promise.race([
    once(socket, 'connect').then(() => true),
    once(socket, 'error').then(() => false),
  ]).catch(() => false);
  socket.destroy();
  return connected;
}

/** A password file with these users, as mosquitto_passwd makes it. */
export function passwordFile(directory: string, users: Record<string, string>): string {
  const file = join(directory, 'passwords');
  writeFileSync(file, '');
  for (const [user, password] of Object.entries(users)) execFileSync('mosquitto_passwd', ['-b', file, user, password]);
  chmodSync(file, 0o600);
  return file;
}
