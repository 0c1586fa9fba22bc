/**
 * The program in real time on a bus that this process feeds: how soon the first reading is there, and how long the event loop is
 * held. Prints one JSON line.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { monitorEventLoopDelay } from 'node:perf_hooks';
import { setTimeout as sleep } from 'node:timers/promises';
import { pino } from 'pino';
import { loadTruckFile } from '../../config/load.js';
import { startDaemon } from '../../daemon/commands/run.js';
import { SHIFT_CONFIG, TrafficFile } from './cab-file.js';

const FEED_MS = 10;
/** The histogram counts from one look to the next. */
const LOOK_MS = 1;

const [file, seconds] = process.argv.slice(2);
const traffic = new TrafficFile(file!);
const folder = mkdtempSync(join(tmpdir(), 'axlepost-live-'));
const { config } = loadTruckFile(SHIFT_CONFIG);
if (config === undefined) throw new Error('the example truck cannot be read');

let frame: ((id: number, data: Uint8Array, isError: boolean) => void) | null = null;
const daemon = await startDaemon(
  {
    ...config,
    mqtt: null,
    store: { path: join(folder, 'axlepost.db'), maxBytes: 256e6, keepMs: 90 * 86_400_000 },
    recorder: { path: join(folder, 'recordings'), maxBytes: 256e6 },
  },
  {
    openBus: async (_name, _filters, onFrame) => {
      frame = onFrame;
      return { close: () => {}, drain: () => {} } as never;
    },
    modeOf: async () => ({ kind: 'virtual', up: true }),
    log: pino({ level: 'silent' }),
    kernel: { counters: async () => null, controller: async () => null, matches: () => null },
  },
);
while (frame === null) await sleep(1);
let sent = 0;
const began = performance.now();
const feed = (): void => {
  const until = performance.now() - began;
  for (; sent < traffic.count && traffic.t(sent) <= until; sent++) frame!(traffic.id(sent), traffic.data(sent), false);
};
while (daemon.session.pipeline.state.counters.frames === 0) {
  feed();
  await sleep(1);
}
// Since the start of the process: performance.now() begins there.
const firstMs = performance.now();
const feeding = setInterval(feed, FEED_MS);
const histogram = monitorEventLoopDelay({ resolution: LOOK_MS });
await sleep(1000);
histogram.enable();
await sleep(1000 * Number(seconds));
histogram.disable();
clearInterval(feeding);
await daemon.stop();
rmSync(folder, { recursive: true, force: true });
const ms = (ns: number): number => Math.max(0, ns / 1e6 - LOOK_MS);
process.stdout.write(`${JSON.stringify({ firstMs, p99Ms: ms(histogram.percentile(99)), maxMs: ms(histogram.max) })}\n`);
process.exit(0);
