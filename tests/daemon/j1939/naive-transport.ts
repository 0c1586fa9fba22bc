import type { StampedFrame } from './helpers.js';

export interface NaiveTransfer {
  kind: 'bam' | 'rts';
  sa: number;
  da: number;
  pgn: number;
  hex: string;
  /** Of its last packet. */
  t: number;
}

const T1_MS = 750;
const T2_MS = 1250;

/**
 * Transfers found a second way: not frame by frame with state, but by looking ahead from each announcement, written
 * from SAE J1939-21's description alone.
 */
export function findTransfers(frames: readonly StampedFrame[]): { announced: number; complete: NaiveTransfer[] } {
  const tp = frames
    .map((f) => ({ ...f, pf: (f.id >> 16) & 0x3ff, da: (f.id >> 8) & 255, sa: f.id & 255 }))
    .filter((f) => f.pf === 0xec || f.pf === 0xeb);
  const complete: NaiveTransfer[] = [];
  let announced = 0;
  tp.forEach((head, at) => {
    if (head.pf !== 0xec || head.data.length < 8) return;
    const kind = head.data[0] === 0x20 ? 'bam' : head.data[0] === 0x10 ? 'rts' : null;
    const size = head.data[1]! + head.data[2]! * 256;
    const count = head.data[3]!;
    const sound = size >= 9 && size <= 1785 && count === Math.ceil(size / 7);
    if (!kind || !sound || (kind === 'bam') !== (head.da === 255)) return;
    announced++;
    const pgn = head.data[5]! + head.data[6]! * 256 + head.data[7]! * 65536;
    const parts = new Map<number, Uint8Array>();
    let heardAt = head.t;
    let patience = kind === 'bam' ? T1_MS : T2_MS;
    for (const next of tp.slice(at + 1, at + 2000)) {
      const forth = next.sa === head.sa && next.da === head.da;
      const back = next.sa === head.da && next.da === head.sa;
      if (!forth && !back) continue;
      if (next.t - heardAt > patience) break;
      if (next.pf === 0xec) {
        const control = next.data[0]!;
        const samePgn = next.data[5]! + next.data[6]! * 256 + next.data[7]! * 65536 === pgn;
        if (forth && (control === 0x20 || control === 0x10)) break;
        if (samePgn && (control === 255 || (back && control === 0x13))) break;
        if (samePgn && back && control === 0x11) [heardAt, patience] = [next.t, T2_MS];
        continue;
      }
      if (!forth) continue;
      const sequence = next.data[0]!;
      if (kind === 'bam' && sequence !== parts.size + 1) {
        const repeat = sequence === parts.size && parts.get(sequence)!.every((b, i) => b === next.data[i + 1]);
        if (!repeat) break;
      }
      if (sequence >= 1 && sequence <= count) {
        parts.set(sequence, next.data.slice(1));
        [heardAt, patience] = [next.t, T1_MS];
      }
      if (parts.size < count) continue;
      const hex = [...parts.keys()]
        .sort((a, b) => a - b)
        .map((key) => Buffer.from(parts.get(key)!).toString('hex'))
        .join('')
        .slice(0, size * 2);
      complete.push({ kind, sa: head.sa, da: head.da, pgn, hex, t: next.t });
      break;
    }
  });
  return { announced, complete };
}
