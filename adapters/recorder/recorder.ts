import { setTimeout as sleep } from 'node:timers/promises';
import type { TruckConfig } from '../../config/resolved.js';
import type { RunInfo } from '../../daemon/alerts/numbered.js';
import type { RareInput } from '../../daemon/input.js';
import { PositionFilter } from '../../daemon/j1939/position.js';
import { type StreamMs, TICK_MS, type WallMs } from '../../daemon/time.js';
import type { Recorder, RecorderHealth, RecorderOptions } from './contract.js';
import { type Disk, hostDisk } from './disk.js';
import { LineWriter } from './line-writer.js';
import { Scribe } from './scribe.js';
import { Segment } from './segment.js';
import { recordedConfig, recordedInput } from './sidecar.js';
import { type Text, TextPool } from './text-pool.js';
import { Trouble } from './trouble.js';

const SEGMENT_MS = 300_000;
/** Text waits at most so long before it goes to the disk: a crash loses what came in it. */
const SAVE_MS = 3_000;
/** No input for so long: the segment ends, and the next input begins another one. */
const IDLE_MS = 60_000;
/** A segment ends early beyond this share of all room, so that there is always something to remove. */
const SHARE_OF_ROOM = 8;
/** Answers, reloads and clocks of one segment. */
const MOST_INPUTS = 250;
/** Segments that wait for the disk with their state of some 100 KB; beyond it the last one goes on. */
const MOST_WAITING = 2;
/** A pin may come after the next segments have begun: the store is asked in between. */
const REMEMBERED = 4;
/** How long `close` waits for a disk that does not answer. */
const PATIENCE_MS = 1_500;

/** Starts recording. Resolves also when the folder cannot be used: then health says so, and it is tried again. */
export async function openRecorder(options: RecorderOptions, disk: Disk = hostDisk): Promise<Recorder> {
  const recorder = new SegmentRecorder(options, disk);
  await recorder.open();
  return recorder;
}

class SegmentRecorder implements Recorder {
  readonly #options: RecorderOptions;
  readonly #zeroMs: WallMs;
  readonly #pool = new TextPool();
  readonly #scribe: Scribe;
  readonly #position: PositionFilter;
  readonly #segmentMs: number;
  #writer: LineWriter;
  #buses: number;
  #run: RunInfo;
  #config: TruckConfig;
  #zeroCalendarMs: WallMs | null;
  #lastTick: StreamMs = 0;
  /** The newest one, also after its end. */
  #segment: Segment | null = null;
  #index = 0;
  /** The next input begins another segment. */
  #due = true;
  /** What waits to be handed over, and the time of its first line. */
  #text: Text | null = null;
  #textT: StreamMs = 0;
  #inHole = false;
  #recent: Segment[] = [];
  #pinNext = false;
  #closed = false;
  readonly #trouble: Trouble;
  readonly #counts = { droppedFrames: 0, droppedInputs: 0, failures: 0 };

  constructor(options: RecorderOptions, disk: Disk) {
    const { run, boot, version, config, path: folder, maxBytes } = options;
    this.#options = options;
    this.#run = run;
    this.#zeroMs = Math.max(0, run.zeroWallMs);
    this.#zeroCalendarMs = run.synced ? run.zeroWallMs : null;
    this.#config = recordedConfig(config);
    this.#position = new PositionFilter(config.show.position);
    this.#segmentMs = options.segmentMs ?? SEGMENT_MS;
    this.#buses = options.interfaces.length;
    this.#writer = new LineWriter(this.#zeroMs, options.interfaces);
    this.#trouble = new Trouble(folder, options.log);
    this.#scribe = new Scribe({
      ...{ disk, folder, maxBytes, truck: config.truck, pool: this.#pool },
      facts: { version, boot, zeroMs: this.#zeroMs },
      run: () => this.#run,
      onFailure: (segment, error) => this.#failed(segment, error),
      onLost: (frames) => {
        this.#counts.droppedFrames += frames;
      },
      onNotPinned: () => {
        this.#counts.failures++;
      },
      onBegun: () => this.#trouble.over(),
    });
  }

  open(): Promise<void> {
    return this.#scribe.open();
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number, state: () => string): void {
    this.#line(t, bus, id, this.#position.frame(id, data, length), length, false, state);
  }

  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number, state: () => string): void {
    this.#line(t, bus, id, data, length, true, state);
  }

  tick(t: StreamMs): void {
    this.#lastTick = t;
    const segment = this.#segment;
    if (segment === null || segment.failed || this.#closed) return;
    if (segment.saving !== null && this.#text === null) segment.saving.tick = t;
    if (segment.ended) return;
    if (this.#text !== null && t - this.#textT >= SAVE_MS) this.#save(segment, false);
    const began = Math.floor(segment.firstT / TICK_MS) * TICK_MS;
    const isLarge = (segment.log?.bytes ?? 0) >= this.#options.maxBytes / SHARE_OF_ROOM;
    this.#due ||= t - began >= this.#segmentMs || isLarge;
    if (t - segment.lastInputT >= IDLE_MS) this.#end(segment);
  }

  rare(input: RareInput, state: () => string): void {
    if (this.#closed) return;
    const segment = this.#segmentAt(input.t, state);
    if (segment === null || segment.inputs >= 2 * MOST_INPUTS) {
      this.#counts.droppedInputs++;
      segment?.lose(input.t, false, 0);
    } else {
      segment.inputs++;
      segment.lastInputT = input.t;
      this.#due ||= segment.inputs >= MOST_INPUTS;
      this.#handOver(segment);
      this.#scribe.note(segment, recordedInput(input));
    }
    if (input.kind === 'clock') this.#zeroCalendarMs = input.zeroCalendarMs;
    if (input.kind === 'reload') this.#reload(input.config);
  }

  pin(t: StreamMs): void {
    if (this.#closed) return;
    // What a tick decides comes of what was before it.
    const at = this.#recent.findLastIndex((segment) => segment.firstT < t);
    if (at < 0) {
      this.#pinNext = true;
      return;
    }
    this.#scribe.pinWithBefore(this.#recent[at]!);
    const next = this.#recent[at + 1];
    if (next === undefined) this.#pinNext = true;
    else this.#scribe.pinWithBefore(next);
    // An event without a frame after it (silence) belongs to what the sidecar promises.
    const segment = this.#segment!;
    if (at === this.#recent.length - 1 && t - segment.lastInputT > TICK_MS) this.#save(segment, true);
  }

  flush(): void {
    const segment = this.#segment;
    if (segment !== null && !segment.ended && !segment.failed && !this.#closed) this.#save(segment, true);
  }

  setRun(run: RunInfo): void {
    this.#run = run;
    if (this.#segment !== null && !this.#closed) this.#save(this.#segment, true);
  }

  health(): RecorderHealth {
    const { shelf } = this.#scribe;
    const isRecording = this.#segment !== null && !this.#segment.ended;
    return {
      state: this.#trouble.why !== null ? 'failed' : isRecording ? 'recording' : 'waiting',
      bytes: shelf.bytes,
      segments: shelf.kept.length,
      pinned: shelf.pinned,
      waitingBytes: this.#pool.waitingBytes,
      ...this.#counts,
      lastError: this.#trouble.why,
    };
  }

  settled(): Promise<void> {
    return this.#scribe.done;
  }

  async close(lastTick: StreamMs): Promise<void> {
    if (!this.#closed) {
      this.tick(lastTick);
      const segment = this.#segment;
      if (segment !== null && !segment.failed) this.#end(segment);
      this.#closed = true;
    }
    await Promise.race([this.#scribe.done, sleep(PATIENCE_MS, undefined, { ref: false })]);
  }

  #line(
    t: StreamMs,
    bus: number,
    id: number,
    data: Uint8Array,
    length: number,
    isError: boolean,
    state: () => string,
  ): void {
    const segment = this.#segmentAt(t, state);
    if (segment === null || bus >= this.#buses) {
      this.#counts.droppedFrames++;
      return;
    }
    const text = this.#room(segment, t);
    if (text === null) {
      this.#counts.droppedFrames++;
      segment.lose(t, this.#inHole);
      this.#inHole = true;
      return;
    }
    text.length = this.#writer.write(text.bytes, text.length, t, bus, id, data, length, isError);
    text.frames++;
    segment.frames++;
    segment.lastT = t;
    segment.lastInputT = t;
  }

  /** Where an input at t goes; null: nowhere, the disk does not take it. */
  #segmentAt(t: StreamMs, state: () => string): Segment | null {
    const segment = this.#segment;
    if (segment !== null && !this.#due && !segment.failed) return segment;
    if (this.#closed || this.#trouble.mustWait(t)) return null;
    const isOpen = segment !== null && !segment.ended && !segment.failed;
    if (this.#scribe.waitingSegments >= MOST_WAITING) return isOpen ? segment : null;
    return this.#begin(t, state());
  }

  #begin(t: StreamMs, state: string): Segment {
    const before = this.#segment;
    if (before !== null && !before.failed) this.#end(before);
    const about = { config: this.#config, zeroCalendarMs: this.#zeroCalendarMs };
    const segment = new Segment(++this.#index, t, this.#position.state(state), about);
    segment.pinned = this.#pinNext;
    this.#pinNext = false;
    this.#segment = segment;
    this.#due = false;
    this.#inHole = false;
    this.#recent = [...this.#recent.slice(1 - REMEMBERED), segment];
    this.#scribe.begin(segment);
    return segment;
  }

  /** Again for one that has ended: ticks went on after it. */
  #end(segment: Segment): void {
    if (!segment.ended) this.#handOver(segment);
    segment.ended = true;
    this.#due = true;
    this.#scribe.end(segment, this.#lastTick);
  }

  #save(segment: Segment, withSidecar: boolean): void {
    this.#handOver(segment);
    this.#scribe.save(segment, withSidecar, this.#lastTick);
  }

  #handOver(segment: Segment): void {
    if (this.#text !== null) this.#scribe.append(segment, this.#text, this.#lastTick);
    this.#text = null;
  }

  /** A buffer with room for a line; null: none is free. */
  #room(segment: Segment, t: StreamMs): Text | null {
    const text = this.#text;
    if (text !== null && text.bytes.length - text.length >= this.#writer.longest) return text;
    this.#handOver(segment);
    this.#text = this.#pool.take();
    this.#textT = t;
    if (this.#text === null || !this.#inHole) return this.#text;
    this.#inHole = false;
    this.#scribe.save(segment, true, null);
    return this.#text;
  }

  #reload(config: TruckConfig): void {
    this.#config = recordedConfig(config);
    this.#position.shown = config.show.position;
    this.#buses = config.buses.length;
    this.#writer = new LineWriter(
      this.#zeroMs,
      config.buses.map((bus) => bus.interface),
    );
  }

  #failed(segment: Segment | null, error: unknown): void {
    this.#counts.failures++;
    if (segment !== null && segment === this.#segment) this.#dropText();
    this.#trouble.begins(error, this.#lastTick);
  }

  /** Lines of a segment that the disk refused. */
  #dropText(): void {
    if (this.#text === null) return;
    this.#counts.droppedFrames += this.#text.frames;
    this.#pool.give(this.#text);
    this.#text = null;
  }
}
