import type { StreamMs } from '../time.js';
import { destinationOf, GLOBAL_ADDRESS, pgnOf, sourceOf } from './identifier.js';
import { PGN_TP_CM, PGN_TP_DT } from './interest.js';

/** Most transfers followed at once on one bus; the oldest makes room. A J1939 bus has at most 30 units. */
export const MAX_SESSIONS = 64;
export const MIN_SIZE = 9;
export const MAX_SIZE = 1785;

/** J1939-21 T1: longest wait for the next packet, and for the first packet of a broadcast. */
const T1_MS = 750;
/** J1939-21 T2: longest wait for a packet after the receiver was asked or has answered. */
const T2_MS = 1250;

const RTS = 16;
const CTS = 17;
const END_OF_MESSAGE = 19;
const BAM = 32;
const ABORT = 255;

const BYTES_PER_PACKET = 7;

/** One transfer under way. Plain data. */
export interface TransportSession {
  broadcast: boolean;
  sa: number;
  da: number;
  pgn: number;
  size: number;
  packets: number;
  /** Different packets received so far. */
  got: number;
  /** Which ones, 32 to a word; for broadcasts `got` says it all and this stays empty. */
  seen: number[];
  /** null: nobody wants this group; it is only followed so that its packets are not taken for another's. */
  payload: number[] | null;
  lastAt: StreamMs;
  /** How long after `lastAt` the transfer is given up. */
  waitMs: number;
}

export interface TransportCounters {
  complete: number;
  /** Broadcasts with a packet missing, and transfers called finished of which a packet was not heard. */
  dropped: number;
  timedOut: number;
  aborted: number;
  /** Announcements that make no sense. */
  refused: number;
  /** Transfers that a new announcement of the same sender and receiver ended. */
  replaced: number;
  /** Transfers given up for want of room. */
  overflow: number;
  /** Packets that belong to no transfer we know. */
  orphans: number;
  /** Packets heard a second time. */
  repeats: number;
  /** Frames too short, packet numbers out of range, control bytes that do not exist. */
  malformed: number;
}

/** Plain data: may be serialised between any two frames and taken up again. */
export interface TransportState {
  /** Oldest first. */
  sessions: TransportSession[];
  counters: TransportCounters;
}

export function newTransportState(): TransportState {
  return {
    sessions: [],
    counters: {
      complete: 0,
      dropped: 0,
      timedOut: 0,
      aborted: 0,
      refused: 0,
      replaced: 0,
      overflow: 0,
      orphans: 0,
      repeats: 0,
      malformed: 0,
    },
  };
}

/** `data[0..length)` is valid during the call only. */
export type MessageSink = (t: StreamMs, pgn: number, sa: number, da: number, data: Uint8Array, length: number) => void;

/**
 * Puts the messages of one bus together that do not fit a frame (SAE J1939-21 transport protocol), as one who only
 * listens: broadcasts (BAM), and transfers between two others (RTS/CTS), whose flow control is not needed to read them.
 * Never throws on data.
 */
export class Transport {
  state: TransportState;
  readonly #wanted: (pgn: number) => boolean;
  readonly #onMessage: MessageSink;
  readonly #out = new Uint8Array(MAX_SIZE);

  /** @param state kept by reference: it is the state of this object from now on. */
  constructor(wanted: (pgn: number) => boolean, onMessage: MessageSink, state: TransportState = newTransportState()) {
    this.#wanted = wanted;
    this.#onMessage = onMessage;
    this.state = state;
  }

  /** A frame of TP.CM or TP.DT; any other group is ignored. */
  frame(t: StreamMs, id: number, data: Uint8Array, length: number): void {
    const pgn = pgnOf(id);
    if (pgn === PGN_TP_DT) this.#packet(t, sourceOf(id), destinationOf(id), data, length);
    else if (pgn === PGN_TP_CM) this.#control(t, sourceOf(id), destinationOf(id), data, length);
  }

  /** Gives up what waited too long. Once a second is enough: late packets are refused in any case. */
  expire(t: StreamMs): void {
    const { sessions } = this.state;
    for (let i = sessions.length - 1; i >= 0; i--) if (isLate(sessions[i]!, t)) this.#end(i, 'timedOut');
  }

  #control(t: StreamMs, sa: number, da: number, data: Uint8Array, length: number): void {
    if (length < 8 || data.length < 8) {
      this.state.counters.malformed++;
      return;
    }
    const pgn = data[5]! | (data[6]! << 8) | (data[7]! << 16);
    switch (data[0]) {
      case RTS:
      case BAM:
        this.#announce(t, sa, da, pgn, data);
        break;
      case CTS:
        this.#answered(t, da, sa, pgn);
        break;
      case END_OF_MESSAGE:
        // The receiver has all of it. A transfer heard in full ended with its last packet, so one that is open has a hole.
        this.#endOf(t, da, sa, pgn, 'dropped');
        break;
      case ABORT:
        this.#endOf(t, sa, da, pgn, 'aborted');
        this.#endOf(t, da, sa, pgn, 'aborted');
        break;
      default:
        this.state.counters.malformed++;
    }
  }

  #announce(t: StreamMs, sa: number, da: number, pgn: number, data: Uint8Array): void {
    const { sessions, counters } = this.state;
    // Even an announcement that makes no sense ends the old transfer: what follows could not be told from its packets.
    const open = this.#find(t, sa, da);
    if (open >= 0) this.#end(open, 'replaced');
    const broadcast = data[0] === BAM;
    const size = data[1]! | (data[2]! << 8);
    const packets = data[3]!;
    const sound = size >= MIN_SIZE && size <= MAX_SIZE && packets === Math.ceil(size / BYTES_PER_PACKET);
    if (!sound || broadcast !== (da === GLOBAL_ADDRESS) || pgn > 0x3ffff || pgnOf(pgn << 8) !== pgn) {
      counters.refused++;
      return;
    }
    if (sessions.length >= MAX_SESSIONS) this.expire(t);
    if (sessions.length >= MAX_SESSIONS) this.#end(0, 'overflow');
    sessions.push({
      broadcast,
      sa,
      da,
      pgn,
      size,
      packets,
      got: 0,
      seen: broadcast ? [] : new Array<number>(Math.ceil((packets + 1) / 32)).fill(0),
      payload: this.#wanted(pgn) ? new Array<number>(size).fill(0) : null,
      lastAt: t,
      waitMs: broadcast ? T1_MS : T2_MS,
    });
  }

  /** What the receiver asks for does not matter to a listener, but that it asks does: a hold may be repeated for long. */
  #answered(t: StreamMs, sender: number, receiver: number, pgn: number): void {
    const session = this.state.sessions[this.#find(t, sender, receiver)];
    if (!session || session.broadcast || session.pgn !== pgn) return;
    session.lastAt = t;
    session.waitMs = T2_MS;
  }

  #packet(t: StreamMs, sa: number, da: number, data: Uint8Array, length: number): void {
    const { counters, sessions } = this.state;
    const at = this.#find(t, sa, da);
    const session = sessions[at];
    if (!session) {
      counters.orphans++;
      return;
    }
    const sequence = length > 0 ? data[0]! : 0;
    const from = (sequence - 1) * BYTES_PER_PACKET;
    const count = Math.min(BYTES_PER_PACKET, session.size - from);
    if (sequence < 1 || sequence > session.packets || Math.min(length, data.length) <= count) {
      counters.malformed++;
      if (session.broadcast) this.#end(at, 'dropped');
      return;
    }
    const known = isKnown(session, sequence);
    if (session.broadcast && (known ? !isSame(session, sequence, data) : sequence !== session.got + 1)) {
      this.#end(at, 'dropped');
      return;
    }
    for (let i = 0; session.payload && i < count; i++) session.payload[from + i] = data[i + 1]!;
    session.lastAt = t;
    session.waitMs = T1_MS;
    if (known) {
      counters.repeats++;
      return;
    }
    session.got++;
    if (!session.broadcast) session.seen[sequence >>> 5]! |= 1 << (sequence & 31);
    if (session.got === session.packets) this.#deliver(t, at, session);
  }

  #deliver(t: StreamMs, at: number, session: TransportSession): void {
    this.#end(at, 'complete');
    const { payload, size } = session;
    if (!payload) return;
    for (let i = 0; i < size; i++) this.#out[i] = payload[i]!;
    this.#onMessage(t, session.pgn, session.sa, session.da, this.#out, size);
  }

  #endOf(t: StreamMs, sender: number, receiver: number, pgn: number, how: 'dropped' | 'aborted'): void {
    const at = this.#find(t, sender, receiver);
    if (at >= 0 && this.state.sessions[at]!.pgn === pgn) this.#end(at, how);
  }

  /** The index of the open transfer between two addresses, or -1. One that is too late is ended here. */
  #find(t: StreamMs, sender: number, receiver: number): number {
    const { sessions } = this.state;
    for (let i = 0; i < sessions.length; i++) {
      const session = sessions[i]!;
      if (session.sa !== sender || session.da !== receiver) continue;
      if (!isLate(session, t)) return i;
      this.#end(i, 'timedOut');
      return -1;
    }
    return -1;
  }

  #end(at: number, how: 'complete' | 'dropped' | 'timedOut' | 'aborted' | 'replaced' | 'overflow'): void {
    this.state.sessions.splice(at, 1);
    this.state.counters[how]++;
  }
}

function isLate(session: TransportSession, t: StreamMs): boolean {
  return t - session.lastAt > session.waitMs;
}

function isKnown(session: TransportSession, sequence: number): boolean {
  if (session.broadcast) return sequence === session.got && sequence > 0;
  return ((session.seen[sequence >>> 5]! >>> (sequence & 31)) & 1) === 1;
}

/** A CAN controller may deliver one frame twice; a broadcast's last packet said again changes nothing. */
function isSame(session: TransportSession, sequence: number, data: Uint8Array): boolean {
  const from = (sequence - 1) * BYTES_PER_PACKET;
  const { payload, size } = session;
  for (let i = 0; payload && i < BYTES_PER_PACKET && from + i < size; i++) {
    if (payload[from + i] !== data[i + 1]) return false;
  }
  return true;
}
