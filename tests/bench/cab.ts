/**
 * `npm run bench:cab`: what the program costs a cab computer, beside what it may cost. Each line is a process of its own.
 * Stream time is made, so an hour takes some seconds; the line about delays runs in real time.
 */
import { execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { packageRoot } from '../../config/package.js';
import { bundle } from '../../scripts/bundle.js';
import { writeTraffic } from './cab-file.js';
import { shiftTraffic } from './cab-traffic.js';

const MINUTE_MS = 60_000;
/** The first highway stretch of the shift, and an hour of it with a town. */
const HIGHWAY = [36 * MINUTE_MS, 37 * MINUTE_MS] as const;
const DRIVING = [16 * MINUTE_MS, 76 * MINUTE_MS] as const;
/** A full 500 kbit/s bus of 29-bit ids with eight bytes, without stuff bits: 500,000 / 131. */
const FULL_BUS_PER_S = 3_817;
const KEEP_ALIVE_S = 30;
/** PINGREQ and PINGRESP, two bytes each, in a TLS 1.3 record of 22 bytes more (RFC 8446, 5.2). */
const PING_BYTES = 2 * (2 + 22);

interface Figures {
  hours: number;
  frames: number;
  cpuS: number;
  peakRssMb: number;
  writtenMb: number;
  droppedFrames: number;
  sentBytes: number;
  receivedBytes: number;
}

/** The flags that the service manager starts it with. */
const FLAGS = /^ExecStart=\S+ (--.*?) \/opt/m
  .exec(readFileSync(join(packageRoot(), 'config/deploy/axlepost.service'), 'utf8'))![1]!
  .split(' ');

async function child(args: string[]): Promise<string> {
  const process_ = spawn(process.execPath, [...FLAGS, ...args], { stdio: ['ignore', 'pipe', 'inherit'] });
  let out = '';
  process_.stdout.setEncoding('utf8').on('data', (text: string) => {
    out += text;
  });
  const code = await new Promise((resolve) => process_.once('close', resolve));
  if (code !== 0) throw new Error(`${args[0]} ended with ${code}`);
  return out.trim().split('\n').at(-1)!;
}

const load = async (...args: string[]): Promise<Figures> => JSON.parse(await child(['dist/bench-load.js', ...args]));

function row(what: string, value: string, budget: string, isKept: boolean): void {
  process.stdout.write(
    `${what.padEnd(58)}${value.padStart(16)}${budget.padStart(16)}  ${isKept ? 'kept' : 'MISSED'}\n`,
  );
}

const freePort = (): Promise<number> =>
  new Promise((resolve) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const { port } = server.address() as { port: number };
      server.close(() => resolve(port));
    });
  });

/** mosquitto with a certificate made for the occasion; null where one of the programs is missing. */
async function broker(folder: string): Promise<{ url: string; ca: string; stop(): void } | null> {
  const [key, cert] = [join(folder, 'key.pem'), join(folder, 'cert.pem')];
  try {
    execFileSync(
      'openssl',
      [
        ...['req', '-x509', '-newkey', 'rsa:2048', '-nodes', '-days', '2', '-subj', '/CN=localhost'],
        ...['-addext', 'subjectAltName=DNS:localhost', '-keyout', key, '-out', cert],
      ],
      { stdio: 'ignore' },
    );
    execFileSync('mosquitto', ['-h'], { stdio: 'ignore' });
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
  }
  const port = await freePort();
  const conf = join(folder, 'mosquitto.conf');
  writeFileSync(
    conf,
    `listener ${port} 127.0.0.1\nallow_anonymous true\ncertfile ${cert}\nkeyfile ${key}\nuser root\n`,
  );
  const running = spawn('mosquitto', ['-c', conf], { stdio: 'ignore' });
  return { url: `mqtts://localhost:${port}`, ca: cert, stop: () => running.kill() };
}

async function main(folder: string): Promise<void> {
  // As it is shipped: in one file, for half of a start is the loading of modules.
  rmSync('dist/bench-chunks', { recursive: true, force: true });
  await bundle({ 'bench-live': 'tests/bench/cab-live.ts', 'bench-load': 'tests/bench/cab-load.ts' }, 'bench-chunks');
  process.stdout.write(`node ${FLAGS.join(' ')}, ${process.version}\n\n`);
  process.stdout.write(`${''.padEnd(58)}${'measured'.padStart(16)}${'may be'.padStart(16)}\n`);
  const [minute, full, hour] = ['minute', 'full', 'hour'].map((name) => join(folder, name)) as [string, string, string];
  const once = shiftTraffic(...HIGHWAY);
  writeTraffic(full, shiftTraffic(...HIGHWAY, Math.ceil((FULL_BUS_PER_S * 60) / once.count)));
  writeTraffic(minute, once);
  writeTraffic(hour, shiftTraffic(...DRIVING));

  const busy = await load(full, '60');
  const share = (100 * busy.cpuS) / (3600 * busy.hours);
  const rate = Math.round(busy.frames / 3600 / busy.hours);
  row(
    `CPU, ${rate} frames/s of interest, store and recorder on`,
    `${share.toFixed(2)} % of a core`,
    '1.5 %',
    share <= 1.5,
  );
  row('resident memory after an hour of that', `${busy.peakRssMb.toFixed(0)} MB`, '110 MB', busy.peakRssMb < 110);
  row('frames the recorder dropped', `${busy.droppedFrames}`, '0', busy.droppedFrames === 0);

  const driving = await load(hour, '2');
  const perHour = driving.writtenMb / driving.hours;
  row('written to disk in an hour of driving', `${perHour.toFixed(1)} MB`, '12 MB', perHour <= 12);
  row('resident memory, driving', `${driving.peakRssMb.toFixed(0)} MB`, '110 MB', driving.peakRssMb < 110);

  const tls = await broker(folder);
  if (tls === null) process.stdout.write('MQTT in a day: mosquitto or openssl is not installed\n');
  else {
    const day = await load(hour, '10', tls.url, tls.ca);
    tls.stop();
    const pings = ((day.hours * 3600) / KEEP_ALIVE_S) * PING_BYTES;
    const mb = (day.sentBytes + day.receivedBytes + pings) / 1e6;
    row('MQTT in ten hours of driving, TLS and keep-alive included', `${mb.toFixed(2)} MB`, '1 MB', mb <= 1);
  }

  const live = JSON.parse(await child(['dist/bench-live.js', full, '20'])) as {
    firstMs: number;
    p99Ms: number;
    maxMs: number;
  };
  row('start of the process to the first reading', `${live.firstMs.toFixed(0)} ms`, '700 ms', live.firstMs < 700);
  row('event loop delay at that rate, 99 of 100', `${live.p99Ms.toFixed(1)} ms`, '20 ms', live.p99Ms < 20);
  row('the longest', `${live.maxMs.toFixed(1)} ms`, '50 ms', live.maxMs < 50);
}

const folder = mkdtempSync(join(tmpdir(), 'axlepost-cab-'));
try {
  await main(folder);
} finally {
  rmSync(folder, { recursive: true, force: true });
}
