/**
 * One measurement of the program on a cab computer, in a process of its own; prints one JSON line. `cab.ts` starts it.
 * Stream time is made here: an hour takes as long as the work in it does.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setImmediate as turn } from 'node:timers/promises';
import { HostClock } from '../../adapters/clock/host-clock.js';
import { openRecorder } from '../../adapters/recorder/recorder.js';
import { openStore } from '../../adapters/store/store.js';
import { loadTruckFile } from '../../config/load.js';
import type { TruckConfig } from '../../config/resolved.js';
import { LiveInputs } from '../../daemon/commands/live-inputs.js';
import { livePublisher } from '../../daemon/commands/live-publisher.js';
import { Session } from '../../daemon/commands/session.js';
import { SHIFT_CONFIG, TrafficFile } from './cab-file.js';

const HOUR_MS = 3_600_000;
const SILENT = { info() {}, warn() {}, error() {}, fatal() {} };

interface Load {
  traffic: TrafficFile;
  /** How often the traffic is repeated. */
  rounds: number;
  mqtt: TruckConfig['mqtt'];
}

function truck(folder: string, mqtt: TruckConfig['mqtt']): TruckConfig {
  const { config, problems } = loadTruckFile(SHIFT_CONFIG);
  if (config === undefined) throw new Error(JSON.stringify(problems));
  const room = 256e6;
  return {
    ...config,
    mqtt,
    store: { path: join(folder, 'axlepost.db'), maxBytes: room, keepMs: 90 * 86_400_000 },
    recorder: { path: join(folder, 'recordings'), maxBytes: room },
  };
}

/** Bytes that this process has caused to be written to the disk (proc(5), write_bytes). */
const writtenBytes = (): number => Number(/^write_bytes: (\d+)/m.exec(readFileSync('/proc/self/io', 'utf8'))?.[1]);

async function run({ traffic, rounds, mqtt }: Load): Promise<Record<string, number>> {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-cab-'));
  const config = truck(folder, mqtt);
  let now = 0;
  const clock = new HostClock({
    host: { monotonicMs: () => now, wallMs: () => Date.UTC(2026, 10, 2) + now },
    floor: { builtMs: 0, rememberedMs: 0 },
  });
  const store = await openStore({ ...config.store!, truck: config.truck, run: clock.run });
  const recorder = await openRecorder({
    ...{ ...config.recorder!, run: clock.run, boot: 1, config, version: 'bench' },
    interfaces: ['can0'],
    log: () => {},
  });
  const publisher = livePublisher(config, {
    ...{ store, clock, hash: () => config.hash, onAnswer: () => {} },
    log: SILENT as never,
  });
  let events = 0;
  const session = new Session({
    ...{ config, resume: null, run: clock.run, store, publisher, nowMs: () => now },
    onEvents: (numbered) => {
      events += numbered.length;
    },
    onQuiet: () => recorder.flush(),
  });
  const inputs = new LiveInputs(session, () => clock.streamNow(), recorder);
  publisher?.start();
  const before = { cpu: process.cpuUsage(), written: writtenBytes(), ms: performance.now() };
  let peakRss = 0;
  const settle = async (): Promise<void> => {
    await session.backPressure();
    while (recorder.health().waitingBytes > 1e6) await turn();
    while (publisher !== null && (publisher.health().inFlight > 0 || publisher.health().state !== 'connected'))
      await turn();
    await turn();
    peakRss = Math.max(peakRss, process.memoryUsage.rss() - traffic.bytes);
  };
  for (let round = 0; round < rounds; round++) {
    const start = round * traffic.spanMs;
    let nextTick = start + 1000;
    for (let i = 0; i < traffic.count; i++) {
      const t = start + traffic.t(i);
      while (t >= nextTick) {
        now = nextTick;
        session.settle(inputs.tick());
        nextTick += 1000;
        if (publisher !== null || (nextTick / 1000) % 10 === 0) await settle();
      }
      now = t;
      inputs.frame(0, traffic.id(i), traffic.data(i), false);
    }
  }
  await session.finish(rounds * traffic.spanMs);
  await recorder.close(session.stepper.lastTick);
  await settle();
  const cpu = process.cpuUsage(before.cpu);
  const result = {
    frames: traffic.count * rounds,
    hours: (rounds * traffic.spanMs) / HOUR_MS,
    cpuS: (cpu.user + cpu.system) / 1e6,
    wallS: (performance.now() - before.ms) / 1000,
    peakRssMb: peakRss / 1e6,
    writtenMb: (writtenBytes() - before.written) / 1e6,
    droppedFrames: recorder.health().droppedFrames,
    events,
    sentBytes: publisher?.health().bytesSent ?? 0,
    receivedBytes: publisher?.health().bytesReceived ?? 0,
  };
  await publisher?.stop(1000);
  await store.close();
  rmSync(folder, { recursive: true, force: true });
  return result;
}

const [file, rounds, url, ca] = process.argv.slice(2);
const mqtt =
  url === undefined || ca === undefined
    ? null
    : { url, confirm: 'broker' as const, unencrypted: false, user: null, password: null, ca, cert: null, key: null };
process.stdout.write(
  `${JSON.stringify(await run({ traffic: new TrafficFile(file!), rounds: Number(rounds), mqtt }))}\n`,
);
process.exit(0);
