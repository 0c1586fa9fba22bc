import { type ChildProcess, execFileSync, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { chmodSync, chownSync, existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { connect, createServer } from 'node:net';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { packageRoot } from '../../../config/package.js';
import { fileLimit } from './usage.js';

/** Programs of other makers that the benchmark starts, and the office itself. Ports are free ones, data go with the folder. */

export interface Running {
  name: string;
  child: ChildProcess;
}

export const has = (program: string): boolean =>
  spawnSync(program, ['--version'], { stdio: 'ignore' }).error === undefined;

/** The office is held to the second core, everything else to the first, where there are two and taskset(1). */
const isPinned = availableParallelism() > 1 && has('taskset');
export const onCore = (core: 'office' | 'others'): string[] =>
  isPinned ? ['taskset', '-c', core === 'office' ? '1' : '0'] : [];

export const freePort = (): Promise<number> =>
  new Promise((resolve) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const { port } = server.address() as { port: number };
      server.close(() => resolve(port));
    });
  });

/** Resolves when somebody takes connections there; rejects when the process ends first. */
async function answers(port: number, { name, child }: Running): Promise<void> {
  for (;;) {
    if (child.exitCode !== null) throw new Error(`${name} ended with ${child.exitCode}`);
    const socket = connect(port, '127.0.0.1');
    const isUp = await once(socket, 'connect').then(
      () => true,
      () => false,
    );
    socket.destroy();
    if (isUp) return;
    await pause(20);
  }
}

export async function end({ child }: Running, signal: NodeJS.Signals = 'SIGTERM'): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = once(child, 'exit');
  child.kill(signal);
  await ended;
}

function start(
  name: string,
  command: readonly string[],
  env?: NodeJS.ProcessEnv,
  user?: { uid: number; gid: number },
): Running {
  const [program, ...args] = command;
  const child = spawn(program!, args, {
    stdio: ['ignore', 'ignore', 'pipe'],
    env: { ...process.env, ...env },
    ...user,
  });
  return { name, child };
}

/** As config/deploy/broker/axlepost.conf limits it, without TLS, passwords and disk: those are the broker's own cost. */
export async function startBroker(folder: string, port: number, trucks: number): Promise<Running> {
  const deployed = readFileSync(join(packageRoot(), 'config/deploy/broker/axlepost.conf'), 'utf8');
  const limits = deployed.split('\n').filter((line) => line.startsWith('max_'));
  const file = join(folder, 'mosquitto.conf');
  const lines = [
    `listener ${port} 127.0.0.1`,
    'allow_anonymous true',
    'persistence false',
    'log_type none',
    'user root',
  ];
  writeFileSync(file, [...lines, ...limits, ''].join('\n'));
  const running = start('mosquitto', [...withFiles(trucks + 200), ...onCore('others'), 'mosquitto', '-c', file]);
  running.child.stderr?.resume();
  await answers(port, running);
  return running;
}

/** Throws with one line that says what limit is in the way. */
function withFiles(needed: number): string[] {
  const { soft, hard } = fileLimit();
  if (soft >= needed) return [];
  const raised = `--nofile=${needed}:${Math.max(needed, hard)}`;
  if (spawnSync('prlimit', [raised, 'true'], { stdio: 'ignore' }).status === 0) return ['prlimit', raised];
  throw new Error(`${needed} open files are needed and ${hard} allowed: raise ulimit -Hn, or take fewer --trucks`);
}

export interface OfficePlace {
  port: number;
  brokerPort: number;
  /** Connection URL of a database that instances share; null: a file. */
  database: string | null;
  /** It has a core for itself, and no more. */
  isHeld: boolean;
}

export const PROXY = { userHeader: 'x-user', secret: 'a secret of the benchmark only' };

/** The flags that the service manager starts it with. */
export const OFFICE_FLAGS = /^ExecStart=\S+ (--.*?) \/opt/m
  .exec(readFileSync(join(packageRoot(), 'config/deploy/axlepost-office.service'), 'utf8'))![1]!
  .split(' ');

/** `axlepost office` as it is installed; resolves when the board can be read. */
export async function startOffice(
  folder: string,
  { port, brokerPort, database, isHeld }: OfficePlace,
): Promise<Running> {
  const file = join(folder, `office-${port}.yaml`);
  const path = join(folder, 'office.db');
  writeFileSync(
    file,
    JSON.stringify({
      mqtt: { url: `mqtt://127.0.0.1:${brokerPort}`, ...(database !== null && { shared: 'bench' }) },
      store: database === null ? { path } : { postgres: { env: 'AXLEPOST_BENCH_DATABASE' } },
      board: {
        listen: `127.0.0.1:${port}`,
        signIn: { proxy: { userHeader: PROXY.userHeader, secret: { env: 'AXLEPOST_BENCH_PROXY' } } },
      },
    }),
  );
  const env = { AXLEPOST_BENCH_PROXY: PROXY.secret, ...(database !== null && { AXLEPOST_BENCH_DATABASE: database }) };
  const program = join(packageRoot(), 'dist/axlepost.js');
  const command = [
    ...(isHeld ? onCore('office') : []),
    process.execPath,
    ...OFFICE_FLAGS,
    program,
    'office',
    '--config',
    file,
  ];
  const running = start(database === null ? 'office' : `office at ${port}`, command, env);
  let words = '';
  running.child.stderr?.setEncoding('utf8').on('data', (text: string) => {
    words = (words + text).slice(-4096);
  });
  try {
    await answers(port, running);
  } catch {
    throw new Error(`axlepost office did not start: ${words.trim()}`);
  }
  return running;
}

const POSTGRES_FOLDERS = ['/usr/lib/postgresql/17/bin', '/usr/lib/postgresql/16/bin', '/usr/lib/postgresql/15/bin'];

/** Null where it is not installed. */
export async function startPostgres(folder: string): Promise<{ running: Running; url: string } | null> {
  const bin = POSTGRES_FOLDERS.find((each) => existsSync(join(each, 'initdb')));
  if (bin === undefined) return null;
  const home = join(folder, 'postgres');
  mkdirSync(home);
  // It refuses to run as root.
  const user = process.getuid?.() === 0 ? { uid: idOf('-u'), gid: idOf('-g') } : undefined;
  if (user !== undefined) {
    chmodSync(folder, 0o755);
    chownSync(home, user.uid, user.gid);
  }
  const data = join(home, 'data');
  execFileSync(join(bin, 'initdb'), ['-D', data, '-A', 'trust', '-U', 'office'], {
    stdio: 'ignore',
    cwd: home,
    ...user,
  });
  const port = await freePort();
  const settings = [`port=${port}`, 'listen_addresses=127.0.0.1', `unix_socket_directories=${home}`];
  const options = settings.flatMap((setting) => ['-c', setting]);
  const running = start('postgres', [...onCore('others'), join(bin, 'postgres'), '-D', data, ...options], {}, user);
  running.child.stderr?.resume();
  await answers(port, running);
  return { running, url: `postgres://office@127.0.0.1:${port}/postgres` };
}

const idOf = (flag: string): number => Number(execFileSync('id', [flag, 'postgres'], { encoding: 'utf8' }));
