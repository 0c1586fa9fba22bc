/** Frames that have a say in the order of bytes; afterwards it stands. */
const VOTES = 256;
/** Class bits of error frames end well below this (linux/can/error.h). */
export const ERROR_CLASSES = 0x1000;

/** Bits 29…31 of SocketCAN's id word (linux/can.h): error frame, remote request, 29-bit id. */
export const FLAGS = { error: 1, rtr: 2, extended: 4 } as const;
const REMOTE_EXTENDED = FLAGS.extended | FLAGS.rtr;
const ERROR_BYTES = 8;

/** Could anybody have sent a frame with this id word and so many data bytes? */
export function makesSense(word: number, length: number): boolean {
  const flags = word >>> 29;
  if (flags === FLAGS.extended || flags === REMOTE_EXTENDED) return true;
  const id = word & 0x1fffffff;
  if (flags === 0 || flags === FLAGS.rtr) return id <= 0x7ff;
  return flags === FLAGS.error && id > 0 && id < ERROR_CLASSES && length === ERROR_BYTES;
}

/**
 * In which order the bytes of an interface's id words stand: the one that the format prescribes, unless the ids speak
 * against it. Writers that took the machine's own order are out there, and a file does not say so. Most words make
 * sense in one order only, as three bits of flags sit in the first byte and small numbers in the last: the majority of
 * those decides. Where every word would do in both, remote requests, which J1939 does not have, do.
 */
export class IdOrder {
  little: boolean;
  private readonly prescribed: boolean;
  private votes = 0;
  private forBig = 0;
  private forLittle = 0;
  private remoteIfBig = 0;
  private remoteIfLittle = 0;

  /** @param little the prescribed order */
  constructor(little: boolean) {
    this.little = this.prescribed = little;
  }

  get open(): boolean {
    return this.votes < VOTES;
  }

  get asPrescribed(): boolean {
    return this.little === this.prescribed;
  }

  /** Counts one frame's id; true where the order changes by it. Only while open. */
  vote(big: number, little: number, length: number): boolean {
    this.votes++;
    const inBig = makesSense(big, length);
    const inLittle = makesSense(little, length);
    if (inBig && !inLittle) this.forBig++;
    if (inLittle && !inBig) this.forLittle++;
    if (isRemote(big)) this.remoteIfBig++;
    if (isRemote(little)) this.remoteIfLittle++;
    const was = this.little;
    this.little = this.decide();
    return this.little !== was;
  }

  private decide(): boolean {
    if (this.forBig !== this.forLittle) return this.forLittle > this.forBig;
    const half = this.votes / 2;
    if (this.remoteIfBig > half !== this.remoteIfLittle > half) return this.remoteIfBig > half;
    return this.prescribed;
  }
}

const isRemote = (word: number): boolean => word >>> 29 === REMOTE_EXTENDED;
