/** The office's log: one line for people each. */
export interface WebLog {
  info(line: string): void;
  warn(line: string): void;
  error(line: string): void;
}
