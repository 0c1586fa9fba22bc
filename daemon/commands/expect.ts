/** One canonical event line, as far as it is compared. */
interface Expected {
  t: number;
  rule: string;
  subject: string;
  change: string;
  urgency: string;
}

export interface Difference {
  /** One line each. */
  missing: string[];
  extra: string[];
  /** Same event, other numbers: fails only when strict. */
  numbers: string[];
}

const keyOf = (e: Expected): string => `${e.t} ${e.rule} ${e.subject} ${e.change} ${e.urgency}`;

/** Stream time as h:mm:ss. */
export function clockOf(t: number): string {
  const s = Math.floor(t / 1000);
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
}

const wordsOf = (e: Expected): string => `${clockOf(e.t)} ${e.rule} ${e.subject} ${e.change} ${e.urgency}`;

/** Lines of a canonical file; throws with the line's number where one is no event. */
export function parseExpected(text: string, file: string): string[] {
  const lines = text.split('\n').map((line) => line.trimEnd());
  return lines.flatMap((line, i) => {
    if (line === '') return [];
    try {
      const e = JSON.parse(line) as Partial<Expected>;
      if (typeof e.t === 'number' && typeof e.rule === 'string' && typeof e.subject === 'string') return [line];
    } catch {
      // said below
    }
    throw new Error(
      `${file}:${i + 1}: no canonical event; make the file with "replay --events FILE --format canonical"`,
    );
  });
}

/** Compares rule, subject, change, urgency and t of two canonical files; numbers are told apart. */
export function compareEvents(expected: readonly string[], got: readonly string[]): Difference {
  const difference: Difference = { missing: [], extra: [], numbers: [] };
  const waiting = new Map<string, string[]>();
  for (const line of expected) {
    const key = keyOf(JSON.parse(line) as Expected);
    waiting.set(key, [...(waiting.get(key) ?? []), line]);
  }
  for (const line of got) {
    const event = JSON.parse(line) as Expected;
    const same = waiting.get(keyOf(event));
    const match = same?.shift();
    if (match === undefined) difference.extra.push(wordsOf(event));
    else if (match !== line) difference.numbers.push(wordsOf(event));
  }
  for (const lines of waiting.values()) {
    for (const line of lines) difference.missing.push(wordsOf(JSON.parse(line) as Expected));
  }
  return difference;
}
