/** What was read so far, over all files. */
export interface FrameCounts {
  /** Of text = blank + notes + bad + its frames. */
  lines: number;
  blank: number;
  /** Words that candump itself adds. */
  notes: number;
  bad: number;
  /** Of captures = badPackets + otherPackets + their frames. */
  packets: number;
  /** Damaged, cut to less than a frame, or without sense. */
  badPackets: number;
  /** No CAN: a capture of all interfaces has Ethernet too. */
  otherPackets: number;
  /** Well-formed frames of any kind; the following are parts of it, each frame in at most one. */
  frames: number;
  unknownInterface: number;
  rtr: number;
  /** CAN FD, and CAN XL in captures. */
  fd: number;
  errorFrames: number;
  shortIds: number;
  interesting: number;
}

export interface LogCounts extends FrameCounts {
  clamped: number;
  seams: number;
  gaps: number;
}

export function newCounters(): FrameCounts {
  const records = { lines: 0, blank: 0, notes: 0, bad: 0, packets: 0, badPackets: 0, otherPackets: 0 };
  return { ...records, frames: 0, unknownInterface: 0, rtr: 0, fd: 0, errorFrames: 0, shortIds: 0, interesting: 0 };
}
