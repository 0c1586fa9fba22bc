/** Something wrong with an input, for people: one line, what it is and what to do. */
export interface Problem {
  /** From 1; null where it concerns the whole file. */
  line: number | null;
  /** From 1, in bytes; null where it concerns the whole line. */
  column: number | null;
  text: string;
  hint: string;
}

/** At most this many problems of one file are told in words; the rest are counted. */
export const PROBLEMS_IN_WORDS = 20;

/** `shift.log:12:34: odd number of hex digits; a byte is two digits`. */
export function problemLine(file: string, problem: Problem): string {
  const place = [file, problem.line, problem.column].filter((part) => part !== null).join(':');
  return problem.hint === '' ? `${place}: ${problem.text}` : `${place}: ${problem.text}; ${problem.hint}`;
}
