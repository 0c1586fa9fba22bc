/**
 * The value-range rule of SAE J1939-71: which raw values of a field are measurements and which are messages about
 * the measurement. Bands are told by the most significant byte; codes of 2 to 5 bits keep the top two values.
 */

/** `specific`: a value with a meaning of its own for this signal, not a measurement. */
export type Quality = 'good' | 'specific' | 'reserved' | 'error' | 'absent';

export type SignalKind = 'number' | 'state' | 'location' | 'address' | 'text';

/** Raw values whose quality a signal's own definition gives; they win over the general rule. */
export type RangeExceptions = Readonly<Record<number, Quality>>;

/** @param bits 1…32. One bit has no room for an indicator; 6 and 7 bits are judged as the codes of 2 to 5 bits. */
export function classify(raw: number, bits: number, kind: SignalKind, exceptions?: RangeExceptions): Quality {
  const exception = exceptions?.[raw];
  if (exception !== undefined) return exception;
  if (kind === 'location') return raw === allOnes(bits) ? 'absent' : 'good';
  if (kind === 'address') return addressQuality(raw);
  if (bits >= 8) return bandOf(topByte(raw, bits));
  if (bits === 1 || raw < allOnes(bits) - 1) return 'good';
  return raw === allOnes(bits) ? 'absent' : 'error';
}

/** Any address can control a device; 254 is nobody's, 255 everybody's and so no answer. From common practice. */
function addressQuality(raw: number): Quality {
  if (raw === 0xff) return 'absent';
  return raw === 0xfe ? 'specific' : 'good';
}

function bandOf(top: number): Quality {
  if (top <= 0xfa) return 'good';
  if (top === 0xfb) return 'specific';
  if (top <= 0xfd) return 'reserved';
  return top === 0xfe ? 'error' : 'absent';
}

function allOnes(bits: number): number {
  return 2 ** bits - 1;
}

/** The most significant eight bits of a field of at least eight. */
function topByte(raw: number, bits: number): number {
  return raw >>> (bits - 8);
}
