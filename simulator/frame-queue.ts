const LONGEST = 8;
/** A bus at full rate has some thirty frames in a step, and a broadcast of a few dozen packets waits longer. */
const FIRST_SLOTS = 128;

/** An error frame and not a data frame, as SocketCAN marks it. */
export const ERROR_FLAG = 0x20000000;

/** Takes frames in order of time. The data are valid during the call only. */
export type TakeFrame = (t: number, id: number, data: Uint8Array) => void;

/**
 * Frames on their way to the wire, in order of time and then of identifier (arbitration); equal ones in the order in which
 * they were put in. Slots are used again: nothing is allocated per frame. Every frame has eight bytes.
 */
export class FrameQueue {
  private t = new Float64Array(FIRST_SLOTS);
  private id = new Float64Array(FIRST_SLOTS);
  private data: Uint8Array[] = Array.from({ length: FIRST_SLOTS }, () => new Uint8Array(LONGEST));
  /** Slots of waiting frames, the last one first; then free ones in any order. */
  private order: number[] = Array.from({ length: FIRST_SLOTS }, (_, i) => i);
  private length = 0;

  /** A place for eight bytes, to be filled at once. */
  put(t: number, id: number): Uint8Array {
    if (this.length === this.order.length) this.grow();
    const slot = this.order[this.length]!;
    let at = this.length;
    while (at > 0 && this.isEarlier(this.order[at - 1]!, t, id)) at -= 1;
    // Later frames stand first: everything that leaves before this one moves up.
    for (let i = this.length; i > at; i -= 1) this.order[i] = this.order[i - 1]!;
    this.order[at] = slot;
    this.length += 1;
    this.t[slot] = t;
    this.id[slot] = id;
    return this.data[slot]!;
  }

  /** Hands over the frames before a time. */
  take(until: number, frame: TakeFrame): void {
    while (this.length > 0) {
      const slot = this.order[this.length - 1]!;
      if (this.t[slot]! >= until) return;
      this.length -= 1;
      frame(this.t[slot]!, this.id[slot]!, this.data[slot]!);
    }
  }

  clear(): void {
    this.length = 0;
  }

  /** The frame in the slot leaves before or together with the new one, which then stands behind it. */
  private isEarlier(slot: number, t: number, id: number): boolean {
    return this.t[slot]! < t || (this.t[slot]! === t && this.id[slot]! <= id);
  }

  private grow(): void {
    const more = this.order.length;
    const wider = (old: Float64Array): Float64Array<ArrayBuffer> => {
      const wide = new Float64Array(2 * more);
      wide.set(old);
      return wide;
    };
    this.t = wider(this.t);
    this.id = wider(this.id);
    for (let i = 0; i < more; i += 1) {
      this.data.push(new Uint8Array(LONGEST));
      this.order.push(more + i);
    }
  }
}
