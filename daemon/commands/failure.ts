/** Exit codes of every command. */
export const EXIT = { done: 0, failed: 1, usage: 2, differs: 3 } as const;

/** What ends a command: one line that names the file and what to do. */
export class Failure extends Error {
  readonly exitCode: number;

  constructor(exitCode: number, line: string, cause?: unknown) {
    super(line, cause === undefined ? undefined : { cause });
    this.exitCode = exitCode;
  }
}

/** The one line of whatever was thrown. */
export function lineOf(error: unknown): string {
  return error instanceof Error ? error.message.split('\n')[0]! : String(error);
}
