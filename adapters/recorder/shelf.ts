import { join } from 'node:path';
import { type Disk, UNFINISHED } from './disk.js';
import { inOrderOfTime, LOG_END, parseSegmentName, type SegmentName, SIDECAR_END, withoutEnd } from './names.js';
import { PINNED_HEAD, pinnedText } from './sidecar.js';

/** One segment on disk. */
export interface Kept {
  name: string;
  place: SegmentName;
  logBytes: number;
  sidecarBytes: number;
  pinned: boolean;
}

/** Sidecars looked into at the same time when the program starts. */
const AT_ONCE = 16;

const bytesOf = (kept: Kept): number => kept.logBytes + kept.sidecarBytes;

/**
 * Which segment goes when there is too much; null: none. The oldest goes first. Pinned ones stay while there are others, unless
 * they have more than half of the room. One that is being written never goes.
 * @param kept oldest first
 */
export function nextToGo(kept: readonly Kept[], maxBytes: number, written: string | null): Kept | null {
  let all = 0;
  let pinned = 0;
  for (const one of kept) {
    all += bytesOf(one);
    if (one.pinned) pinned += bytesOf(one);
  }
  if (all <= maxBytes) return null;
  const oldest = (isPinned: boolean): Kept | undefined =>
    kept.find((one) => one.pinned === isPinned && one.name !== written);
  const first = pinned > maxBytes / 2;
  return oldest(first) ?? oldest(!first) ?? null;
}

/** The recordings in the folder, and how much room they take. Methods reject with what the disk said. */
export class Shelf {
  /** Oldest first. */
  readonly kept: Kept[] = [];
  readonly #disk: Disk;
  readonly #folder: string;
  readonly #maxBytes: number;

  constructor(disk: Disk, folder: string, maxBytes: number) {
    this.#disk = disk;
    this.#folder = folder;
    this.#maxBytes = maxBytes;
  }

  get bytes(): number {
    return this.kept.reduce((sum, one) => sum + bytesOf(one), 0);
  }

  get pinned(): number {
    return this.kept.filter((one) => one.pinned).length;
  }

  pathOf(name: string, end: string): string {
    return join(this.#folder, name + end);
  }

  /** Takes stock. What was left unfinished and sidecars without a log are removed; files that are not ours are let be. */
  async open(): Promise<void> {
    await this.#disk.makeFolder(this.#folder);
    const files = await this.#disk.list(this.#folder);
    const sizes = new Map(files.map(({ name, bytes }) => [name, bytes]));
    const found: Kept[] = [];
    for (const { name: file, bytes } of files) {
      const name = withoutEnd(file, LOG_END);
      const place = name === null ? null : parseSegmentName(name);
      if (name === null || place === null) continue;
      found.push({ name, place, logBytes: bytes, sidecarBytes: sizes.get(name + SIDECAR_END) ?? 0, pinned: false });
    }
    await this.#removeLeftovers(files.map(({ name }) => name));
    for (let at = 0; at < found.length; at += AT_ONCE) {
      await Promise.all(found.slice(at, at + AT_ONCE).map((one) => this.#lookIfPinned(one)));
    }
    this.kept.splice(0, this.kept.length, ...found.sort((a, b) => inOrderOfTime(a.place, b.place)));
  }

  /** A segment begins; it is the newest. */
  add(name: string, place: SegmentName): Kept {
    const one: Kept = { name, place, logBytes: 0, sidecarBytes: 0, pinned: false };
    this.kept.push(one);
    return one;
  }

  /** Keeps a segment that has ended longer. One that has no sidecar, or is gone, is let be. */
  async pin(one: Kept): Promise<void> {
    if (one.pinned || one.sidecarBytes === 0 || !this.kept.includes(one)) return;
    one.pinned = true;
    const path = this.pathOf(one.name, SIDECAR_END);
    const text = await this.#disk.read(path).catch(() => null);
    if (text === null) return;
    await this.#disk.replace(path, pinnedText(text));
  }

  /** Removes what is too much. The segment that is being written stays. */
  async makeRoom(written: string | null): Promise<void> {
    for (;;) {
      const one = nextToGo(this.kept, this.#maxBytes, written);
      if (one === null) return;
      await this.#disk.remove(this.pathOf(one.name, LOG_END));
      await this.#disk.remove(this.pathOf(one.name, SIDECAR_END));
      this.kept.splice(this.kept.indexOf(one), 1);
    }
  }

  async #removeLeftovers(files: readonly string[]): Promise<void> {
    const there = new Set(files);
    for (const file of files) {
      const finished = withoutEnd(file, UNFINISHED) ?? file;
      const name = withoutEnd(finished, SIDECAR_END);
      if (name === null || parseSegmentName(name) === null) continue;
      if (finished !== file || !there.has(name + LOG_END)) await this.#disk.remove(join(this.#folder, file));
    }
  }

  async #lookIfPinned(one: Kept): Promise<void> {
    if (one.sidecarBytes === 0) return;
    const head = await this.#disk.readHead(this.pathOf(one.name, SIDECAR_END), PINNED_HEAD.length).catch(() => '');
    one.pinned = head === PINNED_HEAD;
  }
}
