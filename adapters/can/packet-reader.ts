import type { StreamMs } from '../../daemon/time.js';
import type { CaptureInterface } from './capture-interface.js';
import { type FrameReaderOptions, INTEREST_SIZE, type Stream } from './frame-reader.js';
import { ERROR_CLASSES, FLAGS } from './id-order.js';
import { carriesCan, FramePlace, LINK, linkName } from './link-types.js';

/** Id word, length, flags, two bytes more (linux/can.h, struct can_frame and canfd_frame). */
const HEADER = 8;
const MOST_DATA = 8;
const MOST_FD_DATA = 64;
/** Size of the kernel's own FD frame: older writers mark them by nothing else. */
const FD_FRAME = 72;
/** In the byte after the length (CANFD_FDF). */
const FDF = 0x04;
/** What an XL frame has in place of the length: CANXL_XLF, with CANXL_SEC and CANXL_RRS or without. */
const [XL, XL_MASK] = [0x80, 0xfc];
/** Stamp of a packet that has none. */
export const NO_STAMP = -1;

/** A packet's bytes. */
export interface PacketBytes {
  bytes: Uint8Array;
  view: DataView;
}

/**
 * Packets of a capture → frames of interest to the sink, everything else to the counters. No allocation per packet
 * that is well-formed.
 */
export class PacketReader {
  /** Packets only tell the order of their ids' bytes, and are given again later. */
  looking = false;
  private readonly options: FrameReaderOptions;
  private readonly stream: Stream;
  private readonly say: (text: string, hint: string) => void;
  private readonly place = new FramePlace();
  private readonly data = new Uint8Array(MOST_DATA);
  private packetsBefore = 0;

  constructor(options: FrameReaderOptions, stream: Stream, say: PacketReader['say']) {
    this.options = options;
    this.stream = stream;
    this.say = say;
  }

  /** A file begins. */
  begin(): void {
    this.looking = false;
    this.packetsBefore = this.stream.counters.packets;
  }

  /** One packet, bytes[at, at + captured), of `original` bytes on the wire. @param sec seconds, or NO_STAMP; us: 0…999,999 */
  take(
    iface: CaptureInterface,
    { bytes, view }: PacketBytes,
    at: number,
    captured: number,
    original: number,
    sec: number,
    us: number,
  ): void {
    if (!this.looking) this.stream.counters.packets++;
    let p = at;
    let fd = false;
    if (iface.link !== LINK.socketcan) {
      const found = carriesCan(iface.link) ? this.place.find(iface.link, bytes, at, captured) : 'other';
      if (found === 'cut') this.bad(`cut to ${captured} bytes`, CUT_HINT);
      if (found === 'other') this.other(iface);
      if (found !== 'can') return;
      p += this.place.offset;
      fd = this.place.fd;
      if (this.place.ifIndex > 0) iface = iface.indexed(this.place.ifIndex);
    }
    const length = captured - (p - at);
    if (length < HEADER) {
      this.bad(`cut to ${captured} bytes`, CUT_HINT);
      return;
    }
    fd ||= (bytes[p + 5]! & FDF) !== 0 || original - (p - at) === FD_FRAME;
    const n = bytes[p + 4]!;
    if (!fd && iface.order.open) this.vote(iface, view, p, n);
    if (this.looking) return;
    const word = view.getUint32(p, iface.order.little);
    if (word >>> 29 !== FLAGS.extended || n > MOST_DATA || fd)
      this.takeRare(iface, word, bytes, p, length, n, fd, sec, us);
    else if (n + HEADER > length) this.bad(`${length - HEADER} of ${n} data bytes`, CUT_HINT);
    else {
      const t = this.timeAt(sec, us);
      const { counters } = this.stream;
      const bus = this.busOf(iface);
      counters.frames++;
      if (bus < 0) counters.unknownInterface++;
      else if (this.options.interest[(word >>> 8) & (INTEREST_SIZE - 1)] !== 0) {
        counters.interesting++;
        this.copy(bytes, p + HEADER, n);
        this.options.sink.frame(t, bus, word & 0x1fffffff, this.data, n);
      }
    }
  }

  /** A packet that cannot be used. */
  bad(text: string, hint: string): void {
    if (this.looking) return;
    const { counters } = this.stream;
    counters.badPackets++;
    this.say(`packet ${counters.packets - this.packetsBefore}: ${text}`, hint);
  }

  /** A packet that its record makes unusable. */
  unusable(text: string): void {
    if (!this.looking) this.stream.counters.packets++;
    this.bad(text, 'the file may be damaged');
  }

  /** Bytes [from, to) of the file that are no packets. */
  lost(from: number, to: number): void {
    if (this.looking) return;
    const { counters } = this.stream;
    counters.packets++;
    counters.badPackets++;
    this.say(
      `${to - from} bytes from byte ${from} on are no packets`,
      'the file is damaged there; what comes after is read',
    );
  }

  /** The capture itself says that it lost some. */
  dropped(count: number, name: string): void {
    if (!this.looking) this.say(`the capture lost ${count} packets of ${name} here`, DROP_HINT);
  }

  private takeRare(
    iface: CaptureInterface,
    word: number,
    bytes: Uint8Array,
    p: number,
    length: number,
    n: number,
    fd: boolean,
    sec: number,
    us: number,
  ): void {
    const { counters } = this.stream;
    const flags = word >>> 29;
    const id = word & 0x1fffffff;
    // A classic frame's length is at most 8; whatever is longer can only be FD, or XL by its mark.
    const isFd = fd || (n & XL_MASK) === XL || (n > MOST_DATA && n <= MOST_FD_DATA && n + HEADER <= length);
    const wrong = isFd ? null : mistake(flags, id, n, length);
    if (wrong !== null) {
      this.bad(wrong.text, wrong.hint);
      return;
    }
    const t = this.timeAt(sec, us);
    const bus = this.busOf(iface);
    counters.frames++;
    if (bus < 0) counters.unknownInterface++;
    else if (isFd) counters.fd++;
    else if ((flags & FLAGS.rtr) !== 0) counters.rtr++;
    else if (flags === 0) counters.shortIds++;
    else {
      counters.errorFrames++;
      this.copy(bytes, p + HEADER, n);
      this.options.sink.errorFrame(t, bus, id, this.data, n);
    }
  }

  private timeAt(sec: number, us: number): StreamMs {
    return sec === NO_STAMP ? this.stream.stamps.again() : this.stream.stamps.at(sec, us);
  }

  private copy(bytes: Uint8Array, from: number, n: number): void {
    for (let i = 0; i < n; i++) this.data[i] = bytes[from + i]!;
  }

  private busOf(iface: CaptureInterface): number {
    const { interfaces } = this.stream;
    if (iface.busAsOf !== interfaces.changes) {
      interfaces.find(iface.nameBytes, 0, iface.nameBytes.length);
      iface.bus = interfaces.bus;
      iface.busAsOf = interfaces.changes;
      if (!iface.order.asPrescribed) this.tellOrder(iface);
    }
    return iface.bus;
  }

  private vote({ name, order, busAsOf, link }: CaptureInterface, view: DataView, p: number, n: number): void {
    const turned = order.vote(view.getUint32(p), view.getUint32(p, true), n);
    if (turned && busAsOf >= 0 && !this.looking) this.tellOrder({ name, order, link });
  }

  private tellOrder({ name, order, link }: Pick<CaptureInterface, 'name' | 'order' | 'link'>): void {
    const is = order.little ? 'little' : 'big';
    const form = link === LINK.socketcan ? 'in such a file' : 'in a cooked capture of such a file';
    const text = `the CAN ids of ${name} are ${is}-endian, which ${form} is wrong`;
    this.say(text, 'they are read as what they are');
  }

  /** Told once for an interface that has nothing but other things. */
  private other(iface: CaptureInterface): void {
    if (this.looking) return;
    this.stream.counters.otherPackets++;
    if (iface.told || carriesCan(iface.link)) return;
    iface.told = true;
    this.say(`interface ${iface.name} is ${linkName(iface.link)}`, 'its packets are skipped; only CAN is read');
  }
}

/** Why these bytes are no classic frame; null: they are one. */
function mistake(flags: number, id: number, n: number, length: number): { text: string; hint: string } | null {
  const remote = (flags & FLAGS.rtr) !== 0;
  if (n > MOST_DATA) return { text: `${n} data bytes`, hint: 'a frame has at most 8, an FD frame 64' };
  if ((flags & FLAGS.error) !== 0 && flags !== FLAGS.error)
    return { text: 'flags that exclude each other', hint: ID_HINT };
  const most = flags === FLAGS.error ? ERROR_CLASSES - 1 : (flags & FLAGS.extended) === 0 ? 0x7ff : id;
  if (id > most) return { text: 'id out of range', hint: ID_HINT };
  return remote || n + HEADER <= length ? null : { text: `${length - HEADER} of ${n} data bytes`, hint: CUT_HINT };
}

const CUT_HINT = 'capture whole packets (snap length 0)';
const DROP_HINT = 'give it a larger buffer (dumpcap -B, tcpdump -B)';
const ID_HINT = 'the packet may be damaged';
