import type { FrameReaderOptions, Stream } from './frame-reader.js';
import { UNNAMED } from './interfaces.js';
import { PacketReader } from './packet-reader.js';
import { Pcap } from './pcap.js';
import { Pcapng } from './pcapng.js';

/** Longest packet that any writer makes (libpcap, MAXIMUM_SNAPLEN). Longer ones are damage. */
export const LONGEST_PACKET = 2 ** 18;
/** Whole records are held back only up to this: the longest packet with what stands around it. */
export const LONGEST_RECORD = LONGEST_PACKET + 2 ** 12;
/** So much of a capture is looked at for the byte order of its ids before anything of it is used. */
export const LOOK_BYTES = 2 ** 16;

/** Bytes of a capture as far as they have come. */
export interface Window {
  bytes: Uint8Array;
  view: DataView;
  /** bytes[0, end) count. */
  end: number;
  /** Place of bytes[0] in the file. */
  offset: number;
  /** Nothing comes after. */
  final: boolean;
}

/** One of the two forms. */
export interface CaptureForm {
  /** Bytes that are wanted from where `walk` has stopped; at most LONGEST_RECORD. */
  need: number;
  /** What it is cannot be read, and that was told. */
  refused: boolean;
  /** Takes records from p on; returns where the first begins that is not whole. */
  walk(window: Window, p: number): number;
}

/** pcap or pcapng in chunks of any size → packets. How they are cut up changes nothing. Holds at most LONGEST_RECORD. */
export class Capture {
  /** What the only interface is called where the file does not say so. Holds for one file. */
  unnamed = UNNAMED;
  private readonly packets: PacketReader;
  private readonly tell: (text: string, hint: string) => void;
  private form: CaptureForm | null = null;
  private held = new Uint8Array(0);
  private heldLength = 0;
  /** Bytes of the file before what is held. */
  private offset = 0;

  constructor(options: FrameReaderOptions, stream: Stream, tell: Capture['tell']) {
    this.tell = tell;
    this.packets = new PacketReader(options, stream, tell);
  }

  begin(form: 'pcap' | 'pcapng'): void {
    this.packets.begin();
    const Form = form === 'pcap' ? Pcap : Pcapng;
    this.form = new Form(this.packets, this.unnamed, this.tell);
    this.heldLength = this.offset = 0;
  }

  /** Returns false when nothing of the file can be read. */
  push(bytes: Uint8Array): boolean {
    let p = 0;
    while (p < bytes.length && !this.form!.refused) {
      if (this.heldLength === 0) {
        p = this.walk(bytes, p, bytes.length, false);
        if (this.form!.need > bytes.length - p) break;
      } else p = this.fill(bytes, p);
    }
    if (this.form!.refused) return false;
    this.hold(bytes, p, bytes.length);
    return true;
  }

  /**
   * The file is over. Returns false when nothing of it could be read.
   * @param stopped the caller read no further: what has come of a packet is no damage
   */
  end(stopped: boolean): boolean {
    const form = this.form!;
    if (!stopped && !form.refused) {
      const p = this.walk(this.held, 0, this.heldLength, true);
      const rest = this.heldLength - p;
      if (rest > 0 && !form.refused)
        this.tell(`the last packet is cut short (${rest} bytes of it are there)`, 'what came before is used');
    }
    this.form = null;
    this.unnamed = UNNAMED;
    this.held = new Uint8Array(0);
    this.heldLength = 0;
    return !form.refused;
  }

  /** Completes what is held, from bytes[p], as far as is needed; returns where the rest begins. */
  private fill(bytes: Uint8Array, p: number): number {
    const missing = Math.max(1, this.form!.need - this.heldLength);
    const taken = Math.min(missing, bytes.length - p);
    this.hold(bytes, p, p + taken);
    if (taken === missing) {
      const walked = this.walk(this.held, 0, this.heldLength, false);
      this.held.copyWithin(0, walked, this.heldLength);
      this.heldLength -= walked;
    }
    return p + taken;
  }

  private hold(bytes: Uint8Array, from: number, to: number): void {
    const length = this.heldLength + to - from;
    if (length > this.held.length) {
      const larger = new Uint8Array(Math.max(2 * length, LOOK_BYTES));
      larger.set(this.held.subarray(0, this.heldLength));
      this.held = larger;
    }
    this.held.set(bytes.subarray(from, to), this.heldLength);
    this.heldLength = length;
  }

  private walk(bytes: Uint8Array, p: number, end: number, final: boolean): number {
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
    const walked = this.form!.walk({ bytes, view, end, final, offset: this.offset - p }, p);
    this.offset += walked - p;
    return walked;
  }
}
