/**
 * Reads text/event-stream. The browser's own reader keeps comment lines to itself, and those are how we know that a quiet line is not a
 * dead one. Standard: HTML, 9.2.6 "Interpreting an event stream".
 */
export class EventStream {
  readonly #take: (event: string, data: string) => void;
  #rest = '';
  #event = '';
  #data: string[] = [];

  constructor(take: (event: string, data: string) => void) {
    this.#take = take;
  }

  /** Any piece of the stream, cut anywhere. */
  push(text: string): void {
    const lines = (this.#rest + text).split(/\r\n|\n|\r(?!$)/);
    this.#rest = lines.pop()!;
    for (const line of lines) this.#line(line);
  }

  #line(line: string): void {
    if (line === '') {
      if (this.#data.length > 0) this.#take(this.#event || 'message', this.#data.join('\n'));
      this.#event = '';
      this.#data = [];
      return;
    }
    const [, field = '', value = ''] = /^([^:]*):? ?([\s\S]*)$/.exec(line)!;
    if (field === 'event') this.#event = value;
    if (field === 'data') this.#data.push(value);
  }
}
