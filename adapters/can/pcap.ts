import { type CaptureForm, LONGEST_PACKET, LOOK_BYTES, type Window } from './capture.js';
import { CaptureInterface } from './capture-interface.js';
import { carriesCan, linkName } from './link-types.js';
import type { PacketReader } from './packet-reader.js';
import { NOT_A_LOG } from './sniff.js';

const FILE_HEADER = 24;
const RECORD_HEADER = 16;
/** First word of a file whose stamps are in micro- or nanoseconds (tcpdump.org, "pcap-savefile"). */
const MAGIC_MICRO = 0xa1b2c3d4;
const MAGIC_NANO = 0xa1b23c4d;
/** Packets of CAN are no longer than this, cooked or exported, FD too; with longer ones the next header is looked at. */
const USUAL_PACKET = 128;
/** After damage only packets of such lengths are taken for some. */
const LEAST_FOUND = 8;
const MOST_FOUND = 2048;
/** And only stamps so near to the last good one, or to each other. */
const NEAR_S = 86_400;
/** From here on it can always be said whether a packet begins at a byte. */
const SURE = RECORD_HEADER + MOST_FOUND + RECORD_HEADER;

/** The older form: one file header, then packets with stamp and length. */
export class Pcap implements CaptureForm {
  need = FILE_HEADER;
  refused = false;
  private readonly packets: PacketReader;
  private readonly unnamed: string;
  private readonly tell: (text: string, hint: string) => void;
  private stage: 'header' | 'look' | 'records' = 'header';
  private iface: CaptureInterface | null = null;
  private little = false;
  private nano = false;
  /** Parts of a second in a stamp. */
  private parts = 1e6;
  /** Of the last packet; −1: none yet. */
  private sec = -1;
  /** Where damage begins that has no end yet, as a place in the file; −1: there is none. */
  private lostFrom = -1;

  constructor(packets: PacketReader, unnamed: string, tell: Pcap['tell']) {
    this.packets = packets;
    this.unnamed = unnamed;
    this.tell = tell;
  }

  walk(window: Window, p: number): number {
    for (;;) {
      if (this.stage === 'header') {
        this.need = FILE_HEADER;
        if (window.end - p < FILE_HEADER) return p;
        this.readHeader(window.view, p);
        if (this.refused) return window.end;
        p += FILE_HEADER;
      }
      if (this.stage === 'look' && !this.look(window, p)) return p;
      p = this.records(window, p);
      if (this.stage === 'records') return p;
    }
  }

  private readHeader(view: DataView, p: number): void {
    const magic = view.getUint32(p);
    this.little = magic !== MAGIC_MICRO && magic !== MAGIC_NANO;
    this.nano = view.getUint32(p, this.little) === MAGIC_NANO;
    this.parts = this.nano ? 1e9 : 1e6;
    // The upper half of the word has other things (length of a frame check sequence).
    const link = view.getUint32(p + 20, this.little) & 0xffff;
    if (!carriesCan(link)) {
      this.refused = true;
      this.tell(`${NOT_A_LOG}a pcap capture of ${linkName(link)}`, 'capture the CAN interface (tcpdump -i can0)');
      return;
    }
    this.stage = 'look';
    if (this.iface?.link !== link) this.iface = new CaptureInterface({ name: this.unnamed, link, little: this.little });
  }

  /** false: more has to come first. */
  private look(window: Window, p: number): boolean {
    this.need = LOOK_BYTES;
    if (window.end - p < LOOK_BYTES && !window.final) return false;
    this.packets.looking = true;
    this.records(window, p);
    this.packets.looking = false;
    this.stage = 'records';
    this.sec = this.lostFrom = -1;
    return true;
  }

  private records(window: Window, p: number): number {
    const { view, end } = window;
    const { little, nano, packets } = this;
    const iface = this.iface!;
    if (this.lostFrom >= 0) p = this.findAgain(window, p);
    while (p + RECORD_HEADER <= end) {
      const sec = view.getUint32(p, little);
      const part = view.getUint32(p + 4, little);
      const captured = view.getUint32(p + 8, little);
      this.need = RECORD_HEADER + captured;
      if (captured > USUAL_PACKET || captured === 0 || part >= this.parts) {
        const is = this.judge(window, p, captured, part);
        if (is === 'header') this.stage = 'header';
        if (is === 'header' || is === 'unknown') return p;
        if (is === 'damage') {
          this.lostFrom = window.offset + p;
          p = this.findAgain(window, p + 1);
          continue;
        }
      }
      const at = p + RECORD_HEADER;
      if (at + captured > end) return p;
      this.sec = sec;
      packets.take(iface, window, at, captured, view.getUint32(p + 12, little), sec, nano ? (part / 1000) | 0 : part);
      p = at + captured;
    }
    if (this.lostFrom < 0) this.need = RECORD_HEADER;
    return p;
  }

  /** What begins at p, where a packet should, and is out of the ordinary. */
  private judge(window: Window, p: number, captured: number, part: number): 'packet' | 'header' | 'damage' | 'unknown' {
    const { view, end, final } = window;
    const { little } = this;
    const magic = view.getUint32(p, little);
    // Files that were put one behind the other: version 2.4 of another one.
    if ((magic === MAGIC_MICRO || magic === MAGIC_NANO) && view.getUint16(p + 4, little) === 2) return 'header';
    if (captured === 0 || captured > LONGEST_PACKET || part >= this.parts) return 'damage';
    const next = p + RECORD_HEADER + captured;
    this.need = RECORD_HEADER + captured + RECORD_HEADER;
    // Nobody can tell a long one that is cut short from a wrong length: then what is there is looked through.
    if (final && next > end) return 'damage';
    if (next + RECORD_HEADER > end) return final ? 'packet' : 'unknown';
    const isRecord =
      view.getUint32(next + 8, little) <= LONGEST_PACKET && view.getUint32(next + 4, little) < this.parts;
    return isRecord ? 'packet' : 'damage';
  }

  /** Where damage ends: at a packet that is followed by another one, or by the end of the file. */
  private findAgain(window: Window, p: number): number {
    const { end, final, offset } = window;
    for (; p + SURE <= end || (final && p + RECORD_HEADER <= end); p++) if (this.isPacket(window, p)) break;
    const found = p + RECORD_HEADER <= end && this.isPacket(window, p);
    this.need = LOOK_BYTES;
    if (!found && !final) return p;
    if (!found) p = end;
    this.packets.lost(this.lostFrom, offset + p);
    this.lostFrom = -1;
    return p;
  }

  private isPacket({ view, end, final }: Window, p: number): boolean {
    const captured = this.lengthAt(view, p, this.sec);
    if (captured < 0) return false;
    const next = p + RECORD_HEADER + captured;
    if (next + RECORD_HEADER > end) return final && next <= end;
    return this.lengthAt(view, next, view.getUint32(p, this.little)) >= 0;
  }

  /** Length of the packet that seems to begin at p; −1: none does. @param near its stamp, about; −1: any */
  private lengthAt(view: DataView, p: number, near: number): number {
    const { little } = this;
    const captured = view.getUint32(p + 8, little);
    if (captured < LEAST_FOUND || captured > MOST_FOUND || view.getUint32(p + 4, little) >= this.parts) return -1;
    const original = view.getUint32(p + 12, little);
    if (original < captured || original > LONGEST_PACKET) return -1;
    return near >= 0 && Math.abs(view.getUint32(p, little) - near) > NEAR_S ? -1 : captured;
  }
}
