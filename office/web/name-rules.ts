import { MAX_LENGTH } from '../../adapters/mqtt/fields.js';

/** A name goes to trucks and into every log as *who*: it begins and ends with a letter or digit, and has nothing invisible in it. */
const ACCOUNT = /^[\p{L}\p{N}][\p{L}\p{M}\p{N} ._@'’-]*(?<=[\p{L}\p{M}\p{N}.])$/u;
/** As the messages' schema has it, and no space at the ends. */
const PRINTABLE = /^[^\p{C}\p{Z}](?:[^\p{C}\p{Zl}\p{Zp}]*[^\p{C}\p{Z}])?$/u;

const FEWEST_CHARS = 12;
/** Longer ones gain nothing, and must be read and hashed. */
const MOST_CHARS = 256;
const FEWEST_DIFFERENT = 5;
/** Names of a password shorter than this say nothing when they are found in it. */
const TELLING_CHARS = 4;

/** One line that says why a name cannot be an account's, or null. */
export function accountNameProblem(name: string): string | null {
  if (name.length === 0) return 'a name is needed';
  if (name.length > MAX_LENGTH.short) return `a name has at most ${MAX_LENGTH.short} characters`;
  if (name !== name.normalize('NFC') || !ACCOUNT.test(name) || name.includes('  ')) {
    return "a name has letters, digits, single spaces and . _ @ ' - only, and begins with a letter or digit";
  }
  return null;
}

/** May it be shown as *who*? Of a name that a reverse proxy gives. */
export const isPrintableName = (name: string): boolean => name.length <= MAX_LENGTH.short && PRINTABLE.test(name);

/**
 * One line that says why it is too easily guessed, or null. Length counts and not what kinds of characters there are, as NIST SP 800-63B
 * section 5.1.1.2 has it: rules on kinds lead to the same few patterns.
 */
export function passwordProblem(name: string, password: string): string | null {
  const chars = [...password.normalize('NFC')];
  if (chars.length < FEWEST_CHARS) {
    return `a password has at least ${FEWEST_CHARS} characters, as short ones are guessed by trying; several words in a row are good`;
  }
  if (chars.length > MOST_CHARS) return `a password has at most ${MOST_CHARS} characters`;
  if (new Set(chars).size < FEWEST_DIFFERENT || isRepeated(chars.join(''))) {
    return 'the same few characters again and again are guessed at once; several words in a row are good';
  }
  if (isRow(chars)) return 'characters in the order of the alphabet or of numbers are guessed at once';
  const lower = password.normalize('NFC').toLowerCase();
  const words = [name, ...name.split(/[ ._@'’-]+/), 'axlepost'].map((word) => word.toLowerCase());
  const found = words.filter((word) => word.length >= TELLING_CHARS).find((word) => lower.includes(word));
  const isName = lower.replaceAll(' ', '') === name.toLowerCase().replaceAll(' ', '');
  if (found !== undefined || isName) return `a password does not contain ${found ?? name}, as that is tried first`;
  return null;
}

/** A shorter piece again and again, whole or cut at the end. */
function isRepeated(text: string): boolean {
  for (let size = 1; size <= text.length / 2; size++) {
    if (text.startsWith(text.slice(size))) return true;
  }
  return false;
}

/** Each character next to the one before, up or down; 9 and 0 are neighbours. */
function isRow(chars: readonly string[]): boolean {
  const steps = chars.slice(1).map((char, i) => char.codePointAt(0)! - chars[i]!.codePointAt(0)!);
  const isUp = (step: number): boolean => step === 1 || step === -9;
  const isDown = (step: number): boolean => step === -1 || step === 9;
  return steps.every(isUp) || steps.every(isDown);
}
