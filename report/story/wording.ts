/** A length of time as people say it: "40 s", "14 min", "2 h 5 min", "3 days". */
export function lasting(seconds: number): string {
  const s = Math.round(seconds);
  if (s < 120) return `${s} s`;
  const min = Math.round(s / 60);
  if (min < 120) return `${min} min`;
  const h = Math.floor(min / 60);
  if (h >= 48) return `${Math.round(h / 24)} days`;
  return min % 60 === 0 ? `${h} h` : `${h} h ${min % 60} min`;
}

const SMALL = ['no', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine'];

/** Small ones as a word: "three", "12". */
export const number = (n: number): string => SMALL[n] ?? String(n);

/** "three tires", "one tire", "12 tires". */
export function counted(n: number, one: string, more = `${one}s`): string {
  return `${number(n)} ${n === 1 ? one : more}`;
}

/** "a", "a and b", "a, b and c". */
export function listed(names: readonly string[]): string {
  return names.length < 2 ? (names[0] ?? '') : `${names.slice(0, -1).join(', ')} and ${names.at(-1)}`;
}

/** With a capital at its beginning. */
export const capital = (text: string): string => text.slice(0, 1).toUpperCase() + text.slice(1);
