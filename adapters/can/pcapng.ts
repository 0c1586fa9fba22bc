import { latin1 } from './candump-line.js';
import { type CaptureForm, LONGEST_PACKET, LONGEST_RECORD, LOOK_BYTES, type Window } from './capture.js';
import { CaptureInterface } from './capture-interface.js';
import { NO_STAMP, type PacketReader } from './packet-reader.js';
import { StampUnits } from './stamp-units.js';

/** Block types (IETF draft "PCAP Next Generation Capture File Format", section 4). */
const BLOCK = { section: 0x0a0d0d0a, interface: 1, packet: 2, simple: 3, statistics: 5, enhanced: 6 } as const;
const ORDER_MARK = 0x1a2b3c4d;
const VERSION = 1;
const LEAST_BLOCK = 12;
const SECTION_BYTES = 28;
/** libpcap's limit; longer ones are damage. */
const LONGEST_BLOCK = 2 ** 24;
/** After damage only known blocks up to this are taken for some. */
const MOST_FOUND = 2 ** 12;
/** Those of CAN's packets are shorter. */
const USUAL_BLOCK = 512;
/** Kinds that may be longer than any packet, and are passed over: names, journal, secrets, custom ones. */
const LONG_TYPES: readonly number[] = [4, 9, 10, 0xbad, 0x40000bad];
const MOST_INTERFACES = 1024;
const LONGEST_NAME = 64;
/** Blocks without options and data, with both lengths. */
const [INTERFACE_BYTES, PACKET_BYTES, SIMPLE_BYTES, STATISTICS_BYTES] = [20, 32, 16, 24];
/** The old packet block's count of losses, where nobody counted. */
const DROPS_UNKNOWN = 0xffff;
/** More has to come first. */
const WAIT = -1;
const OPTION = { end: 0, name: 2, drops: 4, interfaceDrops: 5, systemDrops: 7, resolution: 9, offset: 14 } as const;

/** The newer form: blocks, in sections that each have their own byte order and interfaces. */
export class Pcapng implements CaptureForm {
  need = LEAST_BLOCK;
  refused = false;
  private readonly packets: PacketReader;
  private readonly unnamed: string;
  private readonly tell: (text: string, hint: string) => void;
  private little = false;
  /** Of this section, and how many of them have been declared: looking ahead finds more. null: cannot be read. */
  private interfaces: (CaptureInterface | null)[] = [];
  private declared = 0;
  /** Bytes of a block that is not looked into. */
  private skipping = 0;
  /** Where damage begins that has no end yet, as a place in the file; −1: there is none. */
  private lostFrom = -1;
  private toldSimple = false;
  /** Found by `option`. */
  private valueAt = 0;
  private valueLength = 0;

  constructor(packets: PacketReader, unnamed: string, tell: Pcapng['tell']) {
    this.packets = packets;
    this.unnamed = unnamed;
    this.tell = tell;
  }

  walk(window: Window, p: number): number {
    for (;;) {
      if (this.skipping > 0) {
        const skipped = Math.min(this.skipping, window.end - p);
        this.skipping -= skipped;
        p += skipped;
      }
      if (this.lostFrom >= 0) p = this.findAgain(window, p);
      const next = this.lostFrom >= 0 ? WAIT : this.takeBlock(window, p);
      if (this.refused) return window.end;
      if (next === WAIT) return p;
      p = next;
    }
  }

  /** Returns where the next one begins, or WAIT. */
  private takeBlock(window: Window, p: number): number {
    const { view, end } = window;
    this.need = LEAST_BLOCK;
    if (p + LEAST_BLOCK > end) return WAIT;
    if (view.getUint32(p) === BLOCK.section) return this.takeSection(window, p);
    const type = view.getUint32(p, this.little);
    const length = view.getUint32(p + 4, this.little);
    if (!isLength(length, LONGEST_BLOCK)) return this.damage(window, p);
    if (length > LONGEST_RECORD) {
      if (!LONG_TYPES.includes(type)) return this.damage(window, p);
      this.skipping = length;
      return p;
    }
    this.need = length;
    // Nobody can tell a long one that is cut short from a wrong length: then what is there is looked through.
    if (p + length > end) return window.final && length > USUAL_BLOCK ? this.damage(window, p) : WAIT;
    if (view.getUint32(p + length - 4, this.little) !== length) return this.damage(window, p);
    if (type === BLOCK.enhanced || type === BLOCK.packet) this.takePacket(window, p, length, type);
    else if (type === BLOCK.interface) this.takeInterface(window, p, length);
    else if (type === BLOCK.simple) this.takeSimple(window, p, length);
    else if (type === BLOCK.statistics) this.takeStatistics(window, p, length);
    return p + length;
  }

  private takeSection(window: Window, p: number): number {
    const { view, end, final } = window;
    // One that is reached while looking ahead is another matter.
    if (this.packets.looking) return WAIT;
    this.need = SECTION_BYTES;
    if (p + SECTION_BYTES > end) return WAIT;
    const little = view.getUint32(p + 8, true) === ORDER_MARK;
    const length = view.getUint32(p + 4, little);
    const isMarked = little || view.getUint32(p + 8) === ORDER_MARK;
    if (!isMarked || length < SECTION_BYTES || !isLength(length, LONGEST_PACKET)) return this.damage(window, p);
    const version = view.getUint16(p + 12, little);
    if (version !== VERSION) {
      this.refused = true;
      this.tell(`a pcapng capture of version ${version}`, 'only version 1 is read: write it anew, or as candump text');
      return WAIT;
    }
    this.need = Math.max(length, LOOK_BYTES);
    if (end - p < this.need && !(final && end - p >= length)) return WAIT;
    this.little = little;
    this.interfaces = [];
    this.look(window, p + length);
    return p + length;
  }

  /** What the interfaces of a section are like, before anything of it is used. */
  private look(window: Window, p: number): void {
    this.declared = 0;
    this.packets.looking = true;
    this.walk(window, p);
    this.packets.looking = false;
    this.declared = this.skipping = 0;
    this.lostFrom = -1;
  }

  private takeInterface({ bytes, view }: Window, p: number, length: number): void {
    const { little, interfaces } = this;
    if (length < INTERFACE_BYTES) return;
    const index = this.declared++;
    if (index < interfaces.length || index >= MOST_INTERFACES) return;
    const options = p + INTERFACE_BYTES - 4;
    const resolution = StampUnits.resolution(
      this.option(view, options, p + length - 4, OPTION.resolution) ? bytes[this.valueAt]! : 6,
    );
    let offsetS = 0;
    if (this.option(view, options, p + length - 4, OPTION.offset) && this.valueLength >= 8) {
      offsetS = Number(view.getBigInt64(this.valueAt, little));
    }
    let name = '';
    if (this.option(view, options, p + length - 4, OPTION.name)) {
      name = latin1(bytes, this.valueAt, this.valueAt + Math.min(this.valueLength, LONGEST_NAME));
      name = name.replace(/\0.*/s, '').replace(/[^\x21-\x7e]/g, '?');
    }
    if (name === '') name = index === 0 ? this.unnamed : `interface-${index}`;
    if (resolution === null) {
      interfaces.push(null);
      this.tell(`stamps of interface ${name} are finer than 10^-12 s`, 'write the capture anew, in nanoseconds');
      return;
    }
    const link = view.getUint16(p + 8, little);
    const snapLength = view.getUint32(p + 12, little);
    const units = new StampUnits(resolution.perSecond, offsetS, resolution.binary);
    interfaces.push(new CaptureInterface({ name, link, little, units, snapLength }));
  }

  /** Enhanced and, with the same layout but for the interface's number, the old packet block. */
  private takePacket(window: Window, p: number, length: number, type: number): void {
    const { view } = window;
    const { little, packets } = this;
    const captured = length < PACKET_BYTES ? length : view.getUint32(p + 20, little);
    if (captured > length - PACKET_BYTES) {
      packets.unusable('its block is too short for it');
      return;
    }
    const iface = this.described(
      type === BLOCK.enhanced ? view.getUint32(p + 8, little) : view.getUint16(p + 8, little),
    );
    if (iface === null) return;
    if (!iface.units.set(view.getUint32(p + 12, little), view.getUint32(p + 16, little))) {
      packets.unusable('stamp out of range');
      return;
    }
    const { sec, us } = iface.units;
    packets.take(iface, window, p + 28, captured, view.getUint32(p + 24, little), sec, us);
    const options = p + 28 + ((captured + 3) & ~3);
    if (type === BLOCK.enhanced && options + 4 < p + length - 4)
      this.tellDrops(window, options, p + length - 4, OPTION.drops, iface);
    if (type !== BLOCK.packet) return;
    const drops = view.getUint16(p + 10, little);
    if (drops > 0 && drops < DROPS_UNKNOWN) packets.dropped(drops, iface.name);
  }

  /** No stamp and no interface: it is the first one's, and comes when the packet before it came. */
  private takeSimple(window: Window, p: number, length: number): void {
    const { packets } = this;
    const iface = this.described(0);
    if (iface === null || length < SIMPLE_BYTES) return;
    const original = window.view.getUint32(p + 8, this.little);
    const captured = Math.min(original, length - SIMPLE_BYTES, iface.snapLength > 0 ? iface.snapLength : original);
    if (!packets.looking && !this.toldSimple) {
      this.toldSimple = true;
      this.tell('packets without stamps', 'they take the time of the packet before them; capture with stamps');
    }
    packets.take(iface, window, p + 12, captured, original, NO_STAMP, 0);
  }

  /** The interface of a packet; null: there is none that can be used, and that was told. */
  private described(index: number): CaptureInterface | null {
    const iface = index < this.declared ? this.interfaces[index] : undefined;
    if (iface === undefined) this.packets.unusable(`of interface ${index}, which is not described`);
    if (iface === null) this.packets.unusable('its stamp is too fine');
    return iface ?? null;
  }

  private takeStatistics(window: Window, p: number, length: number): void {
    if (length < STATISTICS_BYTES) return;
    const index = window.view.getUint32(p + 8, this.little);
    const iface = index < this.declared ? this.interfaces[index] : undefined;
    if (iface === undefined || iface === null) return;
    for (const code of [OPTION.interfaceDrops, OPTION.systemDrops])
      this.tellDrops(window, p + STATISTICS_BYTES - 4, p + length - 4, code, iface);
  }

  private tellDrops({ view }: Window, from: number, to: number, code: number, { name }: CaptureInterface): void {
    if (!this.option(view, from, to, code) || this.valueLength < 8) return;
    const drops = view.getBigUint64(this.valueAt, this.little);
    if (drops > 0n) this.packets.dropped(Number(drops), name);
  }

  /** Looks for an option between two places; its value is then in [valueAt, valueAt + valueLength), not empty. */
  private option(view: DataView, from: number, to: number, wanted: number): boolean {
    for (let p = from; p + 4 <= to; ) {
      const code = view.getUint16(p, this.little);
      const length = view.getUint16(p + 2, this.little);
      if (code === OPTION.end || p + 4 + length > to) return false;
      if (code === wanted && length > 0) {
        this.valueAt = p + 4;
        this.valueLength = length;
        return true;
      }
      p += 4 + ((length + 3) & ~3);
    }
    return false;
  }

  private damage({ offset }: Window, p: number): number {
    this.lostFrom = offset + p;
    return p + 1;
  }

  /** Where damage ends: at a block of a known kind that says its length at both ends. */
  private findAgain(window: Window, p: number): number {
    const { end, final, offset } = window;
    const last = final ? end - LEAST_BLOCK : end - MOST_FOUND;
    while (p <= last && !this.isBlock(window, p)) p++;
    this.need = LOOK_BYTES;
    if (p > last) {
      if (!final) return p;
      p = end;
    }
    this.packets.lost(this.lostFrom, offset + p);
    this.lostFrom = -1;
    return p;
  }

  private isBlock({ view, end }: Window, p: number): boolean {
    const isSection = view.getUint32(p) === BLOCK.section;
    const type = view.getUint32(p, this.little);
    if (!isSection && (type === 0 || type > BLOCK.enhanced)) return false;
    const little = isSection ? view.getUint32(p + 8, true) === ORDER_MARK : this.little;
    const length = view.getUint32(p + 4, little);
    return isLength(length, MOST_FOUND) && p + length <= end && view.getUint32(p + length - 4, little) === length;
  }
}

const isLength = (length: number, most: number): boolean => length >= LEAST_BLOCK && length <= most && length % 4 === 0;
