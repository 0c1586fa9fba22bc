import { mkdtempSync, rmSync } from 'node:fs';
import { open, rename, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll } from 'vitest';
import type { Recorder, RecorderOptions } from '../../../adapters/recorder/contract.js';
import { type Disk, hostDisk } from '../../../adapters/recorder/disk.js';
import { openRecorder } from '../../../adapters/recorder/recorder.js';
import type { TruckConfig } from '../../../config/resolved.js';
import { canonicalEvent } from '../../../daemon/alerts/rendering.js';
import { Failure } from '../../../daemon/commands/failure.js';
import { LiveInputs, type Unstamped } from '../../../daemon/commands/live-inputs.js';
import { replayCommand } from '../../../daemon/commands/replay.js';
import type { ReplayOptions } from '../../../daemon/commands/replay-settings.js';
import { Session } from '../../../daemon/commands/session.js';
import type { Resume } from '../../../daemon/pipeline.js';
import type { Frame } from '../../support/rig.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';

/** 2026-03-02T13:00:00Z */
export const ZERO_MS = 1_772_456_400_000;
export const TWO_BUSES = LAYOUT.replace(
  'buses: [{name: main, interface: can0}]',
  'buses: [{name: main, interface: can0}, {name: chassis, interface: can1}]',
);

const folders: string[] = [];
afterAll(() => {
  for (const folder of folders) rmSync(folder, { recursive: true, force: true });
});

export function tempFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-recorder-'));
  folders.push(folder);
  return folder;
}

/** Like the host's, without waiting for the medium: for tests that look at what is written, not at when. */
export const quickDisk: Disk = {
  ...hostDisk,
  create: async (path) => {
    const file = await open(path, 'wx');
    return { append: async (bytes) => void (await file.write(bytes)), sync: async () => {}, close: () => file.close() };
  },
  replace: async (path, text) => {
    await writeFile(`${path}.tmp`, text);
    await rename(`${path}.tmp`, path);
  },
};

export interface RunOptions extends Partial<RecorderOptions> {
  disk?: Disk;
  resume?: Resume | null;
}

/** The program on a truck, without its sockets, store and broker: what comes goes through the real inputs. */
export class LiveRun {
  now = 0;
  readonly folder: string;
  readonly session: Session;
  readonly inputs: LiveInputs;
  readonly recorder: Recorder;
  /** Canonical events, in order. */
  readonly events: string[] = [];
  readonly log: string[];

  private constructor(recorder: Recorder, folder: string, log: string[], config: TruckConfig, options: RunOptions) {
    this.recorder = recorder;
    this.folder = folder;
    this.log = log;
    this.session = new Session({
      ...{ config, resume: options.resume ?? null, store: null, nowMs: () => 0 },
      run: options.run ?? { zeroWallMs: ZERO_MS, synced: true },
      onEvents: (events) => {
        for (const { draft } of events) {
          this.events.push(canonicalEvent(draft));
          if (draft.change === 'raised') recorder.pin(draft.t);
        }
      },
      onQuiet: () => recorder.flush(),
    });
    this.inputs = new LiveInputs(this.session, () => this.now, recorder);
  }

  static async start(options: RunOptions = {}): Promise<LiveRun> {
    const log: string[] = [];
    const { disk = quickDisk, resume: _, ...given } = options;
    const config = options.config ?? truckOf(TWO_BUSES);
    const folder = options.path ?? tempFolder();
    const recorder = await openRecorder(
      {
        path: folder,
        maxBytes: 1e9,
        run: { zeroWallMs: ZERO_MS, synced: true },
        boot: 1,
        config,
        version: '0.0.0',
        interfaces: config.buses.map((bus) => bus.interface),
        log: (level, line) => log.push(`${level} ${line}`),
        ...given,
      },
      disk,
    );
    return new LiveRun(recorder, folder, log, config, options);
  }

  frame({ t, bus = 0, id, data }: Frame, isError = false): void {
    this.tickTo(t);
    this.now = t;
    this.inputs.frame(bus, id, data, isError);
  }

  rare(t: number, input: Unstamped): void {
    this.tickTo(t);
    this.now = t;
    this.inputs.rare(input);
  }

  /** The timer of the live run: each second for itself. */
  tickTo(t: number): void {
    for (let tick = (Math.floor(this.now / 1000) + 1) * 1000; tick <= t; tick += 1000) {
      this.now = tick;
      this.inputs.tick();
    }
  }

  async stop(t = this.now): Promise<void> {
    this.tickTo(t);
    await this.recorder.close(this.session.stepper.lastTick);
  }
}

export interface Replayed {
  code: number;
  /** Canonical events. */
  events: string[];
  err: string;
}

/** `axlepost replay` in this process. */
export async function replay(logs: string[], options: ReplayOptions = {}): Promise<Replayed> {
  const out: string[] = [];
  const err: string[] = [];
  const to = (lines: string[]) => ({ write: (text: string) => lines.push(text) });
  let code: number;
  try {
    const shown = { events: '-', format: 'canonical', ...options };
    code = await replayCommand(logs, shown, { out: to(out), err: to(err) });
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, events: out.join('').split('\n').filter(Boolean), err: err.join('') };
}
