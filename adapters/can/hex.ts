/**
 * Two characters at once: index is the little-endian 16-bit word of the two bytes, value the number they spell,
 * −1 where they are no digits. OR-ing results keeps the sign, so one test serves many pairs.
 */

/** Two hex digits (either case) → 0…255, −1. */
export const HEX_PAIR = new Int16Array(65536).fill(-1);
/** Two decimal digits → 0…99, −1. */
export const DECIMAL_PAIR = new Int8Array(65536).fill(-1);
/** One hex digit (either case) → 0…15, −1. */
export const HEX_DIGIT = new Int8Array(256).fill(-1);

for (const [value, character] of [...'0123456789abcdef'].entries()) {
  HEX_DIGIT[character.charCodeAt(0)] = value;
  HEX_DIGIT[character.toUpperCase().charCodeAt(0)] = value;
}
for (let high = 0; high < 256; high++) {
  for (let low = 0; low < 256; low++) {
    const [h, l] = [HEX_DIGIT[high]!, HEX_DIGIT[low]!];
    if (h < 0 || l < 0) continue;
    HEX_PAIR[high | (low << 8)] = h * 16 + l;
    if (high <= 0x39 && low <= 0x39) DECIMAL_PAIR[high | (low << 8)] = h * 10 + l;
  }
}
