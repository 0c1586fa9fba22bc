import type { TruckConfig } from '../../../config/resolved.js';
import type { RunInfo } from '../../../daemon/alerts/numbered.js';
import { canonicalEvent } from '../../../daemon/alerts/rendering.js';
import { Session } from '../../../daemon/commands/session.js';
import type { FrameSink } from '../../../daemon/input.js';
import { Gatherer } from '../../../report/gather/gatherer.js';
import type { Room } from '../../../report/gather/room.js';
import type { Gathered } from '../../../report/gathered.js';
import type { Frame } from '../../support/rig.js';
import { truckOf } from '../../support/truck-file.js';

/** 2026-03-02T13:00:00Z */
export const ZERO_MS = 1_772_456_400_000;
export const SYNCED: RunInfo = { zeroWallMs: ZERO_MS, synced: true };

/** What a run goes on from. */
interface Left {
  pipeline: Session['pipeline'];
  t: number;
  downMs: number | null;
}

/** One session with somebody who gathers, as a replay has it. */
export class Bench {
  readonly gatherer: Gatherer;
  readonly events: string[] = [];
  session!: Session;

  constructor(options: { fromT?: number; room?: Room } = {}) {
    const { fromT = 0, room } = options;
    this.gatherer = new Gatherer({ version: '0.1.0', isShown: (t) => t >= fromT, ...(room && { room }) });
  }

  /** A run that begins. */
  run(config: TruckConfig = truckOf(), run: RunInfo = SYNCED, resume: Left | null = null): this {
    this.session = new Session({
      ...{ config, run, store: null, nowMs: () => 0, watch: this.gatherer },
      resume: resume && { kind: 'restart', state: resume.pipeline.snapshot(resume.t), downMs: resume.downMs },
      onEvents: (events) => {
        this.gatherer.named(events);
        for (const { draft } of events) this.events.push(canonicalEvent(draft));
      },
    });
    const { pipeline } = this.session;
    this.gatherer.begin({ t: 0, pipeline, config, zeroWallMs: run.zeroWallMs, synced: run.synced });
    return this;
  }

  get sink(): FrameSink {
    return this.session.stepper;
  }

  feed(frames: Iterable<Frame>): this {
    for (const { t, bus, id, data } of frames) this.sink.frame(t, bus ?? 0, id, data, data.length);
    return this;
  }

  async end(t: number): Promise<this> {
    await this.session.finish(t);
    this.gatherer.end(t);
    return this;
  }

  gathered(): Gathered {
    return this.gatherer.gathered({ kind: 'replay', logs: ['a.log'], frames: 0, interesting: 0 });
  }
}
