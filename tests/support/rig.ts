import type { RuleName, TruckConfig, Urgency } from '../../config/resolved.js';
import type { Change, EventDraft } from '../../daemon/alerts/event.js';
import { canonicalEvent } from '../../daemon/alerts/rendering.js';
import type { TickEffects } from '../../daemon/effects.js';
import { makeId } from '../../daemon/j1939/identifier.js';
import { Pipeline, type Resume } from '../../daemon/pipeline.js';
import type { Plain } from '../../daemon/state.js';
import { Stepper } from '../../daemon/stepper.js';
import { encodeGroup } from '../../simulator/encode.js';
import { truckOf } from './truck-file.js';

export interface Frame {
  t: number;
  bus?: number;
  id: number;
  data: Uint8Array;
}

/** One frame of a single-frame group. */
export function frameOf(t: number, pgn: number, source: number, values: Record<number, number>): Frame {
  return { t, id: makeId({ priority: 6, pgn, source }), data: encodeGroup(pgn, values) };
}

/** A pipeline with its ticks, and everything that came out of it. */
export class Rig {
  readonly config: TruckConfig;
  readonly stepper: Stepper;
  readonly effects: TickEffects[] = [];

  constructor(config: TruckConfig = truckOf(), resume: Resume | null = null, zeroCalendarMs: number | null = null) {
    this.config = config;
    const from = resume?.kind === 'same-run' ? resume.t : 0;
    this.stepper = new Stepper(
      new Pipeline(config, resume, zeroCalendarMs),
      (effects) => this.effects.push(effects),
      from,
    );
  }

  get pipeline(): Pipeline {
    return this.stepper.pipeline;
  }

  feed(frames: Iterable<Frame>): this {
    for (const { t, bus, id, data } of frames) this.stepper.frame(t, bus ?? 0, id, data, data.length);
    return this;
  }

  advance(t: number): this {
    this.stepper.advance(t);
    return this;
  }

  /** The state as it comes back from the store. */
  saved(t: number): Plain {
    return JSON.parse(JSON.stringify(this.pipeline.snapshot(t))) as Plain;
  }

  get events(): EventDraft[] {
    return this.effects.flatMap((e) => e.events);
  }

  canonical(): string[] {
    return this.events.map(canonicalEvent);
  }

  /** `second change urgency rule subject`, one line per event. */
  story(): string[] {
    return this.events.map(storyLine);
  }

  of(rule: RuleName): [change: Change, urgency: Urgency][] {
    return this.events.filter((e) => e.rule === rule).map((e) => [e.change, e.urgency]);
  }
}

export const storyLine = (e: EventDraft): string =>
  `${e.t / 1000} ${e.change} ${e.urgency} ${e.rule} ${e.subject}${e.reason === null ? '' : ` (${e.reason})`}`;
