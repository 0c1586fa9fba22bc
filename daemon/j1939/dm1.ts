/** Active diagnostic trouble codes, DM1 (PGN 65226), SAE J1939-73. */

export type Lamp = 'off' | 'on' | 'reserved' | 'absent';
export type Flash = 'slow' | 'fast' | 'reserved' | 'none';

export interface Lamps<T> {
  /** Malfunction indicator: emissions only. */
  readonly mil: T;
  /** Red stop lamp. */
  readonly redStop: T;
  /** Amber warning lamp. */
  readonly amber: T;
  /** Protect lamp: most likely nothing electronic. */
  readonly protect: T;
}

/** Occurrence count of a sender that does not count. */
export const OC_UNKNOWN = 127;

export interface TroubleCode {
  /** With `cm` 1 it was packed in one of three older ways, and this number may be wrong. */
  readonly spn: number;
  readonly fmi: number;
  /** 0…126 occurrences, or OC_UNKNOWN. */
  readonly oc: number;
  /** Conversion method: 0 is the layout in force. */
  readonly cm: 0 | 1;
}

export interface Dm1 {
  readonly lamps: Lamps<Lamp>;
  /** Means something only while the lamp is on. */
  readonly flash: Lamps<Flash>;
  readonly codes: readonly TroubleCode[];
}

const LAMP: readonly Lamp[] = ['off', 'on', 'reserved', 'absent'];
const FLASH: readonly Flash[] = ['slow', 'fast', 'reserved', 'none'];

function lampsOf<T>(byte: number, words: readonly T[]): Lamps<T> {
  return {
    mil: words[(byte >>> 6) & 3]!,
    redStop: words[(byte >>> 4) & 3]!,
    amber: words[(byte >>> 2) & 3]!,
    protect: words[byte & 3]!,
  };
}

/** At most (length − 2) / 4 codes; SPN 0 with FMI 0, and the old all-ones form, say that there is none. */
export function decodeDm1(data: ArrayLike<number>, length: number): Dm1 {
  const end = Math.min(length, data.length);
  const codes: TroubleCode[] = [];
  for (let at = 2; at + 4 <= end; at += 4) {
    const code = decodeTroubleCode(data, at);
    if (code) codes.push(code);
  }
  return {
    lamps: lampsOf(end > 0 ? data[0]! : 0xff, LAMP),
    flash: lampsOf(end > 1 ? data[1]! : 0xff, FLASH),
    codes,
  };
}

/** The four bytes at `at`, or null if they stand for no code. */
export function decodeTroubleCode(data: ArrayLike<number>, at: number): TroubleCode | null {
  const [b1, b2, b3, b4] = [data[at]!, data[at + 1]!, data[at + 2]!, data[at + 3]!];
  const spn = b1 | (b2 << 8) | ((b3 >>> 5) << 16);
  const fmi = b3 & 0x1f;
  if (spn === 0 && fmi === 0) return null;
  if ((b1 & b2 & b3 & b4) === 0xff) return null;
  return { spn, fmi, oc: b4 & 0x7f, cm: b4 >>> 7 === 1 ? 1 : 0 };
}

/** Failure mode identifiers in our own words. */
const FMI_TEXTS: Readonly<Record<number, string>> = {
  0: 'far too high',
  1: 'far too low',
  2: 'erratic or wrong',
  3: 'voltage too high',
  4: 'voltage too low',
  5: 'current too low or circuit open',
  6: 'current too high or shorted to ground',
  7: 'mechanism does not respond or is out of adjustment',
  8: 'frequency or pulse width wrong',
  9: 'messages too rare or missing',
  10: 'changes too fast',
  11: 'cause unknown',
  12: 'device is bad',
  13: 'out of calibration',
  14: 'see special instructions',
  15: 'slightly too high',
  16: 'too high',
  17: 'slightly too low',
  18: 'too low',
  19: 'network data in error',
  20: 'drifted high',
  21: 'drifted low',
  31: 'condition exists',
};

export function fmiText(fmi: number): string {
  return FMI_TEXTS[fmi] ?? `failure mode ${fmi}`;
}

export type { FaultArea } from './fault-areas.js';
export { faultArea, faultText } from './fault-areas.js';
