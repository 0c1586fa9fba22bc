/** Enough of a file to tell what it is. */
export const HEAD_BYTES = 1024;

/** What is read. */
export type LogForm = 'candump' | 'pcap' | 'pcapng';

/** What is not, and what to do. */
export interface Refusal {
  text: string;
  hint: string;
}

const CAPTURES: readonly (readonly [hex: string, form: LogForm])[] = [
  ['a1b2c3d4', 'pcap'],
  ['d4c3b2a1', 'pcap'],
  ['a1b23c4d', 'pcap'],
  ['4d3cb2a1', 'pcap'],
  ['0a0d0d0a', 'pcapng'],
];

const UNPACK = 'unpack it first, or use gzip';
const TO_CANDUMP = 'convert it to candump -L text, pcap or pcapng first';
const PLAIN_PCAP = 'write it as plain pcap (editcap -F pcap)';
const RESAVE = 'save it as plain ASCII or UTF-8';
const PHOTO = 'name a log of CAN';

/** First bytes (hex) of what is often taken for a log. Sources: the formats' own specifications. */
const SIGNATURES: readonly (readonly [hex: string, what: string, hint: string])[] = [
  ['1f8b', 'gzip data in gzip data', 'unpack it once'],
  ['a1b2cd34', 'a pcap capture in an older, changed form', PLAIN_PCAP],
  ['34cdb2a1', 'a pcap capture in an older, changed form', PLAIN_PCAP],
  ['28b52ffd', 'zstd data', UNPACK],
  ['fd377a58', 'xz data', UNPACK],
  ['425a68', 'bzip2 data', UNPACK],
  ['04224d18', 'lz4 data', UNPACK],
  ['377abcaf', 'a 7z archive', 'unpack it first'],
  ['504b0304', 'a zip archive', 'unpack it first'],
  ['504b0506', 'an empty zip archive', 'name a log of CAN'],
  ['52617221', 'a rar archive', 'unpack it first'],
  ['4c4f4747', 'a BLF log', TO_CANDUMP],
  ['4d444620', 'an MDF log', TO_CANDUMP],
  ['556e4669', 'an MDF log that was not finished', TO_CANDUMP],
  ['53514c69', 'a SQLite database', 'the commands with --store read those of run'],
  ['25504446', 'a PDF document', PHOTO],
  ['89504e47', 'a PNG picture', PHOTO],
  ['ffd8ff', 'a JPEG picture', PHOTO],
  ['7f454c46', 'a program', PHOTO],
  ['fffe', 'UTF-16 text', RESAVE],
  ['feff', 'UTF-16 text', RESAVE],
];

/** First lines of other text, as their writers make them. */
const TEXTS: readonly (readonly [line: RegExp, what: string, hint: string])[] = [
  [
    /^date \w{3} .*\n?base (?:hex|dec)\b|^base (?:hex|dec) +timestamps\b/i,
    'an ASC log',
    'convert it with asc2log (can-utils)',
  ],
  [/^date \w{3} \w{3} /i, 'an ASC log', 'convert it with asc2log (can-utils)'],
  [/^;\$FILEVERSION=/, 'a TRC log', TO_CANDUMP],
  [
    /^\s*[a-z]\w{1,14}\s+[0-9A-F]{3,8}\s+\[\d{1,2}\]/i,
    'candump text without stamps',
    'record with candump -L or candump -t a',
  ],
  [/^\s*[{[]\s*["{\]}]/, 'JSON', 'name the recording that it belongs to, if there is one'],
  [/^---\s*\n|^(?:fleet|truck|from|buses|layout|rules):/, 'YAML', 'a truck file goes behind --config'],
  [/^<(?:\?xml|!doctype|html)/i, 'XML or HTML', PHOTO],
  [/^[\w "().-]*(?:time|stamp)[\w "().-]*[,;\t]/i, 'a table (CSV)', TO_CANDUMP],
];

/** `ustar` stands there in every tar archive (POSIX.1-2017, pax, "ustar Interchange Format"). */
const TAR_MARK_AT = 257;

/**
 * What a file is that begins with `head`, by its content alone. NUL bytes make it binary, unless the first line is a
 * candump line: then they are damage, and every line that can be read is.
 */
export function sniff(head: Uint8Array): LogForm | Refusal {
  const bytes = Buffer.from(head.buffer, head.byteOffset, head.length);
  const hex = bytes.toString('hex', 0, 4);
  for (const [signature, form] of CAPTURES) if (hex === signature) return form;
  for (const [signature, what, hint] of SIGNATURES) if (hex.startsWith(signature)) return refusal(what, hint);
  if (bytes.toString('latin1', TAR_MARK_AT, TAR_MARK_AT + 5) === 'ustar')
    return refusal('a tar archive', 'name it as a file, or unpack it first');
  const text = bytes.toString('latin1', byteOrderMark(head));
  if (/^\s*\([0-9 :.-]+\)/.test(text)) return 'candump';
  for (const [line, what, hint] of TEXTS) if (line.test(text)) return refusal(what, hint);
  if (!head.includes(0)) return 'candump';
  return refusal('binary', 'expected candump text, pcap or pcapng, each also gzipped');
}

/** Before the words that say what a file is instead. */
export const NOT_A_LOG = 'not a log of CAN: ';

const refusal = (what: string, hint: string): Refusal => ({ text: NOT_A_LOG + what, hint });

/** Length of a UTF-8 byte order mark, which some editors put before the first line. */
export function byteOrderMark(head: Uint8Array): number {
  return head[0] === 0xef && head[1] === 0xbb && head[2] === 0xbf ? 3 : 0;
}
