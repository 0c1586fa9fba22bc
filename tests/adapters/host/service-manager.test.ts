import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { afterAll, afterEach, describe, expect, it } from 'vitest';
import { openServiceManager, type ServiceManager } from '../../../adapters/host/service-manager.js';
import { HandTimers } from '../../support/timers.js';

/* What is sent, as another program receives it. Words and rules: sd_notify(3), sd_watchdog_enabled(3). */

const missing = spawnSync('python3', ['--version']).status !== 0;
const required = process.env.CI === 'true';
if (missing && !required) console.warn('skipped: python3 is not installed; CI needs it');

const RECEIVER = `
import json, socket, sys
s = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
s.bind(sys.argv[1].replace('@', '\\0', 1))
print(json.dumps('bound'), flush=True)
while True:
    print(json.dumps(s.recv(4096).decode()), flush=True)
`;

const folder = mkdtempSync(join(tmpdir(), 'notify-'));
let made = 0;

/** A service manager's end of the socket. */
class Receiver {
  readonly path: string;
  readonly #child: ChildProcess;
  readonly #lines: AsyncIterator<string>;

  private constructor(path: string) {
    this.path = path;
    this.#child = spawn('python3', ['-c', RECEIVER, path], { stdio: ['ignore', 'pipe', 'inherit'] });
    this.#lines = createInterface(this.#child.stdout!)[Symbol.asyncIterator]();
  }

  static async bound(path = join(folder, `notify-${++made}`)): Promise<Receiver> {
    const receiver = new Receiver(path);
    running.push(receiver);
    expect(await receiver.next()).toEqual(['bound']);
    return receiver;
  }

  /** The assignments of the next datagram. */
  async next(): Promise<string[]> {
    const { value } = (await this.#lines.next()) as { value: string };
    return (JSON.parse(value) as string).split('\n');
  }

  async end(): Promise<void> {
    if (this.#child.exitCode !== null || !this.#child.kill()) return;
    await once(this.#child, 'exit');
  }
}

const running: Receiver[] = [];
afterEach(async () => {
  for (const receiver of running.splice(0)) await receiver.end();
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

class Bench {
  readonly timers = new HandTimers();
  readonly log: string[] = [];
  moving = true;

  open(env: Record<string, string>): Promise<ServiceManager> {
    const { timers, log } = this;
    return openServiceManager({
      isMoving: () => this.moving,
      log: (_level, line) => void log.push(line),
      env,
      pid: 4242,
      timers,
    });
  }
}

describe.skipIf(missing && !required)(`sd_notify${missing ? ' (skipped: no python3; CI needs it)' : ''}`, () => {
  it('ready, status, reloading, stopping arrive word for word, each as one datagram', async () => {
    const receiver = await Receiver.bound();
    const manager = await new Bench().open({ NOTIFY_SOCKET: receiver.path });
    manager.ready('awake');
    expect(await receiver.next()).toEqual(['READY=1', 'STATUS=awake']);
    manager.status('two\nlines');
    expect(await receiver.next()).toEqual(['STATUS=two lines']);
    const before = process.hrtime.bigint() / 1000n;
    manager.reloading();
    const [reloading, monotonic] = await receiver.next();
    expect(reloading).toBe('RELOADING=1');
    const us = BigInt(/^MONOTONIC_USEC=(\d+)$/.exec(monotonic!)![1]!);
    expect(us >= before && us <= process.hrtime.bigint() / 1000n).toBe(true);
    manager.ready('awake');
    expect(await receiver.next()).toEqual(['READY=1', 'STATUS=awake']);
    manager.stopping();
    expect(await receiver.next()).toEqual(['STOPPING=1', 'STATUS=stopping']);
  });

  it('the watchdog is fed at half of its time while the pipeline moves, not while it stands still, and again after', async () => {
    const receiver = await Receiver.bound();
    const bench = new Bench();
    const manager = await bench.open({
      NOTIFY_SOCKET: receiver.path,
      WATCHDOG_USEC: '30000000',
      WATCHDOG_PID: '4242',
    });
    expect(bench.timers.waiting).toEqual([]);
    manager.ready('awake');
    await receiver.next();
    expect(await receiver.next()).toEqual(['WATCHDOG=1']);
    expect(bench.timers.waiting).toEqual([15_000]);
    bench.timers.fire();
    expect(await receiver.next()).toEqual(['WATCHDOG=1']);

    bench.moving = false;
    bench.timers.fire();
    // Looked at more often than it is fed: it may move again in time.
    expect(bench.timers.waiting).toEqual([1_000]);
    bench.timers.fire();
    manager.status('stalled');
    expect(await receiver.next()).toEqual(['STATUS=stalled']);
    expect(manager).toMatchObject({ fed: 2, withheld: 2 });
    expect(bench.log).toEqual(['the pipeline stands still: the watchdog is not fed']);

    bench.moving = true;
    bench.timers.fire();
    expect(await receiver.next()).toEqual(['WATCHDOG=1']);
    manager.stopping();
    expect(await receiver.next()).toContain('STOPPING=1');
    expect(bench.timers.waiting).toEqual([]);
  });

  it.each([
    ['none', {}],
    ['of another process', { WATCHDOG_USEC: '30000000', WATCHDOG_PID: '1' }],
    ['that is no number', { WATCHDOG_USEC: 'soon' }],
    ['of 0', { WATCHDOG_USEC: '0' }],
  ])('a watchdog that is %s is not fed', async (_what, env) => {
    const receiver = await Receiver.bound();
    const bench = new Bench();
    const manager = await bench.open({ NOTIFY_SOCKET: receiver.path, ...env });
    manager.ready('awake');
    manager.status('that was all');
    expect(await receiver.next()).toContain('READY=1');
    expect(await receiver.next()).toEqual(['STATUS=that was all']);
    expect(bench.timers.waiting).toEqual([]);
    manager.stopping();
  });

  it('a manager that went away costs one line, and is told again when it is back', async () => {
    const receiver = await Receiver.bound();
    const bench = new Bench();
    const manager = await bench.open({ NOTIFY_SOCKET: receiver.path });
    await receiver.end();
    for (let i = 0; i < 3; i++) manager.status('anybody?');
    expect(bench.log).toHaveLength(1);
    expect(bench.log[0]).toMatch(/notify-\d+: cannot be written to \(send -\d+\)$/);
    rmSync(receiver.path);
    const back = await Receiver.bound(receiver.path);
    manager.status('back');
    expect(await back.next()).toEqual(['STATUS=back']);
    manager.stopping();
  });

  it('an abstract socket is not in reach of the package, and that is said in one line', async () => {
    const receiver = await Receiver.bound(`@axlepost-notify-${process.pid}`);
    const bench = new Bench();
    const manager = await bench.open({ NOTIFY_SOCKET: receiver.path, WATCHDOG_USEC: '30000000' });
    manager.ready('awake');
    manager.stopping();
    expect(bench.log).toEqual([expect.stringMatching(/not told anything: @.*only sockets in the file system/)]);
    expect(bench.timers.waiting).toEqual([]);
  });
});

describe('without a service manager', () => {
  it.each([{}, { NOTIFY_SOCKET: '' }])('nothing is opened, nothing is said (%j)', async (env) => {
    const bench = new Bench();
    let opened = 0;
    const manager = await openServiceManager({
      isMoving: () => true,
      log: (_level, line) => void bench.log.push(line),
      env: { ...env, WATCHDOG_USEC: '1000000' },
      timers: bench.timers,
      open: () => Promise.reject(new Error(String(++opened))),
    });
    manager.ready('awake');
    manager.status('x');
    manager.reloading();
    manager.stopping();
    manager.stopping();
    expect({ opened, log: bench.log, waiting: bench.timers.waiting }).toEqual({ opened: 0, log: [], waiting: [] });
  });

  it('a package that is not built costs one line', async () => {
    const bench = new Bench();
    const manager = await openServiceManager({
      isMoving: () => true,
      log: (_level, line) => void bench.log.push(line),
      env: { NOTIFY_SOCKET: '/run/systemd/notify' },
      open: () => Promise.reject(new Error('the package "unix-dgram" is not built here')),
    });
    manager.ready('awake');
    manager.stopping();
    expect(bench.log).toEqual(['the service manager is not told anything: the package "unix-dgram" is not built here']);
  });
});
