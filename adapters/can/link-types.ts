/** Link types that can carry CAN frames, by number in the file (tcpdump.org, "Link-layer header types"). */
export const LINK = { socketcan: 227, cooked: 113, cooked2: 276, exported: 252 } as const;

/** What captures of these link types are, for people who hand over the wrong one. */
const NAMES: Readonly<Record<number, string>> = {
  0: 'a loopback device',
  1: 'Ethernet',
  9: 'a modem line (PPP)',
  101: 'IP packets',
  105: 'Wi-Fi',
  127: 'Wi-Fi',
  147: 'a private link type',
  [LINK.cooked]: 'all interfaces',
  189: 'USB',
  190: 'CAN 2.0B in a form that is not published',
  201: 'Bluetooth',
  210: 'FlexRay',
  212: 'LIN',
  220: 'USB',
  228: 'IPv4 packets',
  249: 'USB',
  [LINK.exported]: 'decoded packets',
  [LINK.socketcan]: 'CAN',
  [LINK.cooked2]: 'all interfaces',
};

export const linkName = (link: number): string => NAMES[link] ?? `link type ${link}`;

export const carriesCan = (link: number): boolean => (Object.values(LINK) as number[]).includes(link);

/** Protocol fields of cooked packets (linux/if_ether.h, ETH_P_CAN, ETH_P_CANFD, ETH_P_CANXL). */
const [CAN, CAN_FD, CAN_XL] = [0x000c, 0x000d, 0x000e];
const COOKED_BYTES = 16;
const COOKED2_BYTES = 20;
/** Tags of exported packets (Wireshark, wsutil/exported_pdu_tlvs.h): the end, and the dissector's name. */
const [TAG_END, TAG_NAME] = [0, 12];
const TAG_HEADER = 4;
/** What comes after the tags, by its dissector's name. */
const EXPORTED: readonly (readonly [name: Uint8Array, fd: boolean])[] = [
  [Buffer.from('can-hostendian'), false],
  [Buffer.from('can-bigendian'), false],
  [Buffer.from('canfd'), true],
];

/** Where the CAN frame is in a packet. The fields are reused: valid until the next `find`. */
export class FramePlace {
  /** Bytes before the frame's id. */
  offset = 0;
  /** The link layer says that it is no classic frame. */
  fd = false;
  /** Number of the interface in a cooked packet of the second form; else 0. */
  ifIndex = 0;

  /** `cut`: there is less of the packet than its link layer has. `other`: no CAN in it. */
  find(link: number, bytes: Uint8Array, at: number, captured: number): 'can' | 'other' | 'cut' {
    this.offset = this.ifIndex = 0;
    this.fd = false;
    if (link === LINK.socketcan) return 'can';
    if (link === LINK.exported) return this.findExported(bytes, at, captured);
    const second = link === LINK.cooked2;
    this.offset = second ? COOKED2_BYTES : COOKED_BYTES;
    if (captured < this.offset) return 'cut';
    const protocol = word16(bytes, second ? at : at + 14);
    if (second) this.ifIndex = word16(bytes, at + 4) * 65536 + word16(bytes, at + 6);
    this.fd = protocol === CAN_FD || protocol === CAN_XL;
    return protocol === CAN || this.fd ? 'can' : 'other';
  }

  private findExported(bytes: Uint8Array, at: number, captured: number): 'can' | 'other' | 'cut' {
    let found: 'can' | 'other' = 'other';
    for (let p = at; p + TAG_HEADER <= at + captured; ) {
      const tag = word16(bytes, p);
      const length = word16(bytes, p + 2);
      p += TAG_HEADER;
      if (tag === TAG_END) {
        this.offset = p - at;
        return found;
      }
      for (const [name, fd] of EXPORTED) {
        if (tag !== TAG_NAME || length < name.length || p + length > at + captured || !startsWith(bytes, p, name))
          continue;
        found = 'can';
        this.fd = fd;
      }
      p += length;
    }
    return 'cut';
  }
}

const word16 = (bytes: Uint8Array, at: number): number => (bytes[at]! << 8) | bytes[at + 1]!;

function startsWith(bytes: Uint8Array, at: number, name: Uint8Array): boolean {
  for (let n = 0; n < name.length; n++) if (bytes[at + n] !== name[n]) return false;
  return true;
}
