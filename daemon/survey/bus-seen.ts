import { type ClaimsState, newClaims } from '../j1939/claims.js';
import { GLOBAL_ADDRESS } from '../j1939/identifier.js';
import { groupOf } from '../j1939/signals.js';
import { newTransportState, type TransportState } from '../j1939/transport.js';
import type { StreamMs } from '../time.js';
import { GroupSeen, OtherSeen } from './groups-seen.js';

/** Groups of no interest that are told apart: of one sender, and of one bus. The rest is counted. */
const MAX_OTHERS_OF_SENDER = 128;
const MAX_OTHERS_OF_BUS = 2_048;
/** Groups of interest by sender, of one bus: some thirty senders with what they can send. */
const MAX_GROUPS_OF_BUS = 1_024;

/** Classes of error frames, by bit of the identifier (linux/can/error.h). */
export const ERROR_CLASSES: readonly string[] = [
  'transmit timeout',
  'lost arbitration',
  'controller problem',
  'protocol violation',
  'transceiver problem',
  'no acknowledgement',
  'bus-off',
  'bus error',
  'controller restarted',
];

export interface SenderSeen {
  sa: number;
  frames: number;
  /** By PGN. */
  groups: Map<number, GroupSeen>;
  others: Map<number, OtherSeen>;
}

/** Bits of a frame on the wire with an identifier of 29 bits: start to space, and with the most stuffing (ISO 11898-1). */
const FRAME_BITS = 67;
const STUFFED_FROM_BITS = 54;
const wireBits = (length: number): number => FRAME_BITS + 8 * length;
const stuffBits = (length: number): number => Math.floor((STUFFED_FROM_BITS + 8 * length - 1) / 4);

/** What is known of one bus. */
export class BusSeen {
  /** As in the truck file. */
  readonly name: string;
  /** Its CAN interface. */
  readonly link: string;
  /** Data frames with an identifier of 29 bits. */
  frames = 0;
  interesting = 0;
  /** With EDP set: ISO 15765-3 and reserved. */
  foreign = 0;
  /** On the wire without stuffing, and what stuffing can add. */
  bits = 0;
  stuffing = 0;
  errorFrames = 0;
  readonly errorClasses: number[] = ERROR_CLASSES.map(() => 0);
  /** By source address. */
  readonly senders: (SenderSeen | undefined)[] = new Array(GLOBAL_ADDRESS + 1).fill(undefined);
  readonly claims: ClaimsState = newClaims();
  readonly transport: TransportState = newTransportState();
  /** Frames of groups for which there was no room. */
  leftOut = 0;
  #groups = 0;
  #others = 0;

  constructor(name: string, link: string) {
    this.name = name;
    this.link = link;
  }

  frame(length: number): void {
    this.frames++;
    this.bits += wireBits(length);
    this.stuffing += stuffBits(length);
  }

  errorFrame(id: number): void {
    this.errorFrames++;
    for (let bit = 0; bit < ERROR_CLASSES.length; bit++) if ((id >>> bit) & 1) this.errorClasses[bit]!++;
  }

  sender(sa: number): SenderSeen {
    const known = this.senders[sa];
    if (known !== undefined) return known;
    const made: SenderSeen = { sa, frames: 0, groups: new Map(), others: new Map() };
    this.senders[sa] = made;
    return made;
  }

  group(t: StreamMs, sender: SenderSeen, pgn: number, data: Uint8Array, length: number, long: boolean): void {
    let seen = sender.groups.get(pgn);
    if (seen === undefined) {
      if (this.#groups >= MAX_GROUPS_OF_BUS) {
        this.leftOut++;
        return;
      }
      this.#groups++;
      seen = new GroupSeen(pgn, groupOf(pgn));
      sender.groups.set(pgn, seen);
    }
    seen.take(t, data, length, long);
  }

  other(t: StreamMs, sender: SenderSeen, pgn: number, to: number, data: Uint8Array, length: number): void {
    let seen = sender.others.get(pgn);
    if (seen === undefined) {
      if (sender.others.size >= MAX_OTHERS_OF_SENDER || this.#others >= MAX_OTHERS_OF_BUS) {
        this.leftOut++;
        return;
      }
      this.#others++;
      seen = new OtherSeen(pgn, to);
      sender.others.set(pgn, seen);
    }
    seen.take(t, to, data, length);
  }
}
