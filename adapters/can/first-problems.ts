import { NO_STAMP } from './candump-line.js';
import type { Problem } from './problem.js';
import { NOT_A_LOG } from './sniff.js';

type Tell = (file: string, problem: Problem) => void;

/**
 * What is wrong with lines of a file is told once a frame has come of it: a text that is no log at all gets one line, and not one for
 * each of its own.
 */
export class FirstProblems {
  readonly #tell: Tell;
  readonly #held = new Map<string, Problem[]>();

  constructor(tell: Tell) {
    this.#tell = tell;
  }

  begin(file: string): void {
    this.#held.set(file, []);
  }

  add(file: string, problem: Problem): void {
    const held = this.#held.get(file);
    if (held === undefined) this.#tell(file, problem);
    else held.push(problem);
  }

  /** A frame has come of it, or it is not to be read any further. */
  release(file: string): void {
    const held = this.#held.get(file) ?? [];
    this.#held.delete(file);
    for (const problem of held) this.#tell(file, problem);
  }

  /** It is over without a frame. Returns true when that has been said. @param badLines all of them */
  endEmpty(file: string, badLines: number): boolean {
    const first = this.#held.get(file)?.[0];
    if (badLines === 0 || first === undefined || first.line === null) {
      this.release(file);
      return false;
    }
    this.#held.delete(file);
    const others = badLines === 1 ? '' : `, and ${badLines - 1} more like it`;
    const hint = `line ${first.line}: ${first.text}${others}; ${first.hint}`;
    const text = first.text === NO_STAMP ? `${NOT_A_LOG}text of another kind` : 'has no frames';
    this.#tell(file, { line: null, column: null, text, hint });
    return true;
  }
}
