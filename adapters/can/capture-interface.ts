import { IdOrder } from './id-order.js';
import { UNKNOWN_BUS } from './interfaces.js';
import { LINK } from './link-types.js';
import { StampUnits } from './stamp-units.js';

/** Interfaces behind a cooked capture of all of them. */
const MOST_BEHIND = 64;

export interface CaptureInterfaceOptions {
  name: string;
  link: number;
  /** The file's own order of bytes. */
  little: boolean;
  units?: StampUnits;
  /** Packets are cut to this; 0: they are whole. */
  snapLength?: number;
}

/** One interface of a capture: how its packets are laid out, and which bus it is. */
export class CaptureInterface {
  readonly name: string;
  readonly nameBytes: Uint8Array;
  readonly link: number;
  readonly order: IdOrder;
  readonly units: StampUnits;
  readonly snapLength: number;
  bus = UNKNOWN_BUS;
  /** `Interfaces.changes` when bus was looked up; −1: never. */
  busAsOf = -1;
  /** Told what is odd about all of its packets. */
  told = false;
  private readonly options: CaptureInterfaceOptions;
  private readonly behind = new Map<number, CaptureInterface>();

  constructor(options: CaptureInterfaceOptions) {
    const { name, link, little, units = new StampUnits(), snapLength = 0 } = options;
    this.options = options;
    this.name = name;
    this.nameBytes = Buffer.from(name, 'latin1');
    this.link = link;
    // Ids of plain CAN captures are big-endian in every file; those in cooked and exported packets have the order of
    // the machine that captured, which is the file's (seen with tshark 4.0, and in libpcap's way to swap such files).
    this.order = new IdOrder(link !== LINK.socketcan && little);
    this.units = units;
    this.snapLength = snapLength;
  }

  /** A capture of all interfaces: the one with this number. */
  indexed(index: number): CaptureInterface {
    const known = this.behind.get(index);
    if (known !== undefined || this.behind.size >= MOST_BEHIND) return known ?? this;
    const one = new CaptureInterface({ ...this.options, name: `if${index}`, units: this.units });
    this.behind.set(index, one);
    return one;
  }
}
