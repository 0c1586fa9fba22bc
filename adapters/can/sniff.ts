/** Enough of a file to tell what it is. */
export const HEAD_BYTES = 1024;

/** First bytes (hex) of what is often taken for a log. Sources: the formats' own specifications. */
const SIGNATURES: readonly (readonly [hex: string, what: string, hint: string])[] = [
  ['1f8b', 'gzip data', 'unpack it first'],
  ['a1b2c3d4', 'a pcap capture', 'pcap is not read yet: make it candump text first'],
  ['d4c3b2a1', 'a pcap capture', 'pcap is not read yet: make it candump text first'],
  ['a1b23c4d', 'a pcap capture', 'pcap is not read yet: make it candump text first'],
  ['4d3cb2a1', 'a pcap capture', 'pcap is not read yet: make it candump text first'],
  ['0a0d0d0a', 'a pcapng capture', 'pcapng is not read yet: make it candump text first'],
  ['28b52ffd', 'zstd data', 'unpack it first, or use gzip'],
  ['fd377a58', 'xz data', 'unpack it first, or use gzip'],
  ['425a68', 'bzip2 data', 'unpack it first, or use gzip'],
  ['504b0304', 'a zip archive', 'unpack it first'],
  ['fffe', 'UTF-16 text', 'save it as plain ASCII or UTF-8'],
  ['feff', 'UTF-16 text', 'save it as plain ASCII or UTF-8'],
];

/**
 * Why a file that begins with `head` is not candump text, or null. NUL bytes make it binary, unless the first line is a
 * candump line: then they are damage, and every line that can be read is.
 */
export function notCandump(head: Uint8Array): { text: string; hint: string } | null {
  const hex = Buffer.from(head.buffer, head.byteOffset, Math.min(4, head.length)).toString('hex');
  for (const [signature, what, hint] of SIGNATURES) {
    if (hex.startsWith(signature)) return { text: `not a candump log: ${what}`, hint };
  }
  if (!head.includes(0)) return null;
  const lineEnd = head.indexOf(0x0a);
  const first = Buffer.from(head.buffer, head.byteOffset, lineEnd < 0 ? head.length : lineEnd).toString('latin1');
  if (/^\s*\([0-9 :.-]+\)/.test(first)) return null;
  return { text: 'not a candump log: binary', hint: 'expected lines like (seconds.microseconds) can0 18FEF100#FF00…' };
}

/** Length of a UTF-8 byte order mark, which some editors put before the first line. */
export function byteOrderMark(head: Uint8Array): number {
  return head[0] === 0xef && head[1] === 0xbb && head[2] === 0xbf ? 3 : 0;
}
