import type { RunInfo } from '../../daemon/alerts/numbered.js';
import type { RareInput } from '../../daemon/input.js';
import type { StreamMs } from '../../daemon/time.js';
import { type Disk, UNFINISHED } from './disk.js';
import { LOG_END, SIDECAR_END, segmentName } from './names.js';
import type { RunFacts, Save, Segment } from './segment.js';
import { SegmentLog } from './segment-log.js';
import { type Kept, Shelf } from './shelf.js';
import { packState } from './sidecar.js';
import type { Text, TextPool } from './text-pool.js';

export interface ScribeOptions {
  disk: Disk;
  folder: string;
  maxBytes: number;
  truck: string;
  facts: RunFacts;
  pool: TextPool;
  /** As best known when a sidecar is written. */
  run: () => RunInfo;
  /** The disk refused this segment; frames are those that waited in vain. */
  onFailure: (segment: Segment | null, error: unknown) => void;
  onLost: (frames: number) => void;
  /** A segment could not be marked as one to keep longer. */
  onNotPinned: () => void;
  /** A segment and its sidecar are on disk. */
  onBegun: () => void;
}

/**
 * Does to the disk what the recorder asks for, one thing after the other, behind its back. Nothing here throws: what the disk
 * refuses ends the segment and is told.
 */
export class Scribe {
  readonly shelf: Shelf;
  /** Segments that the disk has not begun yet. */
  waitingSegments = 0;
  readonly #options: ScribeOptions;
  #isOpen = false;
  /** Number of this start in the names: later than all that is there. */
  #start: number;
  #last: Promise<void> = Promise.resolve();
  #written: Segment | null = null;

  constructor(options: ScribeOptions) {
    this.#options = options;
    this.#start = options.facts.boot;
    this.shelf = new Shelf(options.disk, options.folder, options.maxBytes);
  }

  /** Settles when everything asked for so far was done or refused. */
  get done(): Promise<void> {
    return this.#last;
  }

  /** Takes stock of the folder. */
  open(): Promise<void> {
    return this.#next(async () => {
      await this.#open().catch((error: unknown) => this.#options.onFailure(null, error));
    });
  }

  begin(segment: Segment): void {
    this.waitingSegments++;
    void this.#next(async () => {
      this.waitingSegments--;
      await this.#guarded(segment, () => this.#begin(segment));
    });
  }

  /** @param tick last one that was decided when the text was given */
  append(segment: Segment, text: Text, tick: StreamMs): void {
    const { pool, onLost } = this.#options;
    // A save that waits comes before this text: it needs another one.
    segment.saving = null;
    void this.#next(async () => {
      const before = segment.failed;
      await this.#guarded(segment, () => segment.log!.append(text.bytes.subarray(0, text.length)));
      if (segment.failed || before) onLost(text.frames);
      segment.lastTick = tick;
      pool.give(text);
    });
  }

  /** After the text before it, and with its sidecar. */
  note(segment: Segment, input: RareInput): void {
    segment.saving = null;
    void this.#next(async () => void segment.written.push(input));
    this.save(segment, true, null);
  }

  /**
   * What was appended survives a power cut afterwards; with its sidecar where that is asked for.
   * @param tick last one that was decided, if no text is in hand; else null
   */
  save(segment: Segment, withSidecar: boolean, tick: StreamMs | null): void {
    const { saving } = segment;
    if (saving !== null) {
      saving.withSidecar ||= withSidecar;
      saving.tick = tick;
      return;
    }
    const save: Save = { withSidecar, tick };
    segment.saving = save;
    void this.#next(async () => {
      if (segment.saving === save) segment.saving = null;
      segment.lastTick = save.tick ?? segment.lastTick;
      await this.#guarded(segment, async () => {
        if (!segment.complete) await segment.log!.sync();
        if (save.withSidecar) await this.#writeSidecar(segment);
        await this.#makeRoom(segment);
      });
    });
  }

  /** The last of its log. Again: only its sidecar. */
  end(segment: Segment, tick: StreamMs): void {
    void this.#next(() =>
      this.#guarded(segment, async () => {
        if (!segment.complete) await segment.log!.end();
        segment.complete = true;
        segment.lastTick = tick;
        await this.#writeSidecar(segment);
        await this.#makeRoom(segment);
      }),
    );
  }

  /** Keeps the segment longer, and the one before it. */
  pinWithBefore(segment: Segment): void {
    segment.pinned = true;
    void this.#next(async () => {
      const { kept } = this.shelf;
      const at = segment.kept === null ? -1 : kept.indexOf(segment.kept);
      if (at > 0) await this.#pin(kept[at - 1]!);
      if (at >= 0) await this.#pin(kept[at]!);
    });
  }

  async #pin(one: Kept): Promise<void> {
    const written = this.#written;
    if (one.pinned) return;
    if (one === written?.kept) {
      written.pinned = true;
      await this.#guarded(written, () => this.#writeSidecar(written));
    } else {
      await this.shelf.pin(one).catch(() => this.#options.onNotPinned());
    }
  }

  #next(job: () => Promise<void>): Promise<void> {
    this.#last = this.#last.then(job);
    return this.#last;
  }

  async #guarded(segment: Segment, work: () => Promise<void>): Promise<void> {
    if (segment.failed) return;
    try {
      await work();
    } catch (error) {
      segment.failed = true;
      if (segment.kept !== null) segment.kept.logBytes = segment.log!.bytes;
      await segment.log?.abandon();
      this.#options.onFailure(segment, error);
    }
  }

  async #open(): Promise<void> {
    if (this.#isOpen) return;
    await this.shelf.open();
    this.#isOpen = true;
    const newest = this.shelf.kept.at(-1);
    if (newest !== undefined) this.#start = Math.max(this.#start, newest.place.start + 1);
  }

  async #begin(segment: Segment): Promise<void> {
    const { disk, folder, truck } = this.#options;
    await this.#open();
    await disk.makeFolder(folder);
    // First, so that a disk that lets nothing be removed does not fill up.
    await this.shelf.makeRoom(null);
    const place = { truck, start: this.#start, index: segment.index };
    const name = segmentName(place);
    await segment.packWith(packState);
    segment.log = new SegmentLog(await disk.create(this.shelf.pathOf(name, LOG_END)));
    segment.kept = this.shelf.add(name, place);
    this.#written = segment;
    try {
      await this.#writeSidecar(segment);
    } catch (error) {
      await this.#forget(segment.kept);
      throw error;
    }
    this.#options.onBegun();
  }

  /** A segment that could not even begin leaves nothing behind, as far as the disk lets it. */
  async #forget(kept: Kept): Promise<void> {
    const { disk } = this.#options;
    this.shelf.kept.splice(this.shelf.kept.indexOf(kept), 1);
    for (const end of [LOG_END, SIDECAR_END, SIDECAR_END + UNFINISHED]) {
      await disk.remove(this.shelf.pathOf(kept.name, end)).catch(() => {});
    }
  }

  async #writeSidecar(segment: Segment): Promise<void> {
    const { disk, facts, run } = this.#options;
    const kept = segment.kept!;
    // Never ahead of the log.
    if (!segment.complete) await segment.log!.sync();
    const text = segment.sidecar(facts, run(), kept.place.start);
    await disk.replace(this.shelf.pathOf(kept.name, SIDECAR_END), text);
    kept.sidecarBytes = Buffer.byteLength(text);
    kept.pinned = segment.pinned;
  }

  async #makeRoom(segment: Segment): Promise<void> {
    segment.kept!.logBytes = segment.log!.bytes;
    await this.shelf.makeRoom(this.#written?.kept?.name ?? null);
  }
}
