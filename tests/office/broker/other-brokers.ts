import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import { connect } from 'node:net';
import { cleanup } from '../../adapters/mqtt/harness.js';
import { folder, freePort } from '../../adapters/mqtt/mosquitto.js';

/** Debian's /usr/sbin/rabbitmq-server becomes another user; this one does not. */
const RABBITMQ = '/usr/lib/rabbitmq/bin/rabbitmq-server';
export const rabbitmqIsInstalled = existsSync(RABBITMQ) && isThere('epmd', ['-names']);
export const natsIsInstalled = isThere('nats-server', ['--version']);

export interface OtherBroker {
  url: string;
  process: ChildProcess;
}

/** MQTT 3.1.1 by RabbitMQ's plugin, in a folder and on ports of its own. It takes some ten seconds to start. */
export async function startRabbitmq(): Promise<OtherBroker> {
  const directory = folder();
  const [port, distribution, names] = [await freePort(), await freePort(), await freePort()];
  const path = (name: string): string => `${directory}/${name}`;
  for (const name of ['home', 'data', 'log']) mkdirSync(path(name));
  writeFileSync(path('plugins'), '[rabbitmq_mqtt].');
  const conf = [
    'listeners.tcp = none',
    `mqtt.listeners.tcp.1 = 127.0.0.1:${port}`,
    'mqtt.allow_anonymous = true',
    'mqtt.default_user = guest',
    'mqtt.default_pass = guest',
  ];
  writeFileSync(path('rabbitmq.conf'), `${conf.join('\n')}\n`);
  // Erlang's name server stays behind when it is started by the broker.
  const env = { ...process.env, ERL_EPMD_ADDRESS: '127.0.0.1', ERL_EPMD_PORT: String(names) };
  start('epmd', ['-port', String(names)], env);
  await takes(names, null);
  const broker = start(RABBITMQ, [], {
    ...env,
    HOME: path('home'),
    RABBITMQ_CONF_ENV_FILE: '/dev/null',
    RABBITMQ_NODENAME: `axlepost${port}@localhost`,
    RABBITMQ_CONFIG_FILE: path('rabbitmq.conf'),
    RABBITMQ_ENABLED_PLUGINS_FILE: path('plugins'),
    RABBITMQ_MNESIA_BASE: path('data'),
    RABBITMQ_LOG_BASE: path('log'),
    RABBITMQ_DIST_PORT: String(distribution),
  });
  await takes(port, broker);
  return { url: `mqtt://127.0.0.1:${port}`, process: broker };
}

/** MQTT 3.1.1 by nats-server, which keeps sessions in its streams. The same directory and port: the same broker again. */
export async function startNats(at?: { directory: string; port: number }): Promise<OtherBroker> {
  const { directory, port } = at ?? { directory: folder(), port: await freePort() };
  const conf = [
    'host: 127.0.0.1',
    `port: ${await freePort()}`,
    'server_name: axlepost',
    `jetstream { store_dir: "${directory}" }`,
    `mqtt { host: 127.0.0.1, port: ${port} }`,
  ];
  writeFileSync(`${directory}/nats.conf`, `${conf.join('\n')}\n`);
  const broker = start('nats-server', ['-c', `${directory}/nats.conf`], process.env);
  await takes(port, broker);
  return { url: `mqtt://127.0.0.1:${port}`, process: broker };
}

function start(program: string, args: string[], env: NodeJS.ProcessEnv): ChildProcess {
  // A group of its own, as some start others.
  const child = spawn(program, args, { env, stdio: 'ignore', detached: true });
  const { pid } = child;
  cleanup(async () => {
    const gone = new Promise((resolve) => child.once('exit', resolve));
    if (pid === undefined || child.exitCode !== null || child.signalCode !== null) return;
    process.kill(-pid, 'SIGKILL');
    await gone;
  });
  return child;
}

async function takes(port: number, broker: ChildProcess | null): Promise<void> {
  for (;;) {
    if (broker !== null && broker.exitCode !== null) throw new Error(`the broker ended with ${broker.exitCode}`);
    const socket = connect(port, '127.0.0.1');
    const connected = await new Promise<boolean>((resolve) => {
      socket.once('connect', () => resolve(true));
      socket.once('error', () => resolve(false));
    });
    socket.destroy();
    if (connected) return;
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

function isThere(program: string, args: string[]): boolean {
  return spawnSync(program, args, { stdio: 'ignore' }).error === undefined;
}
