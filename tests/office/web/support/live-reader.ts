import { request } from 'node:http';
import { connect, type Socket } from 'node:net';
import { onTestFinished } from 'vitest';
import type { Rig } from './board.js';

export interface LiveEvent {
  event: string;
  data: unknown;
}

/** A second reading of text/event-stream: fields of one block, as the HTML standard has them. */
function parse(block: string): LiveEvent | null {
  const lines = block.split(/\r\n|\r|\n/).map((line) => /^([^:]*): ?(.*)$/s.exec(line)!);
  const of = (field: string): string[] => lines.filter(([, name]) => name === field).map(([, , value]) => value!);
  const data = of('data').join('\n');
  return data === '' ? null : { event: of('event')[0]!, data: JSON.parse(data) };
}

/** A browser's EventSource, more or less. */
export class LiveReader {
  status = 0;
  text = '';
  /** Comment lines. */
  beats = 0;
  readonly seen: LiveEvent[] = [];
  ended = false;
  #wake: (() => void)[] = [];
  readonly #leave: () => void;

  private constructor({ port }: Rig, headers: Record<string, string>, started: (reader: LiveReader) => void) {
    const asked = request({ host: '127.0.0.1', port, path: '/live', headers, agent: false }, (response) => {
      this.status = response.statusCode!;
      let rest = '';
      response.setEncoding('utf8');
      response.on('data', (part: string) => {
        this.text += part;
        const blocks = (rest + part).split('\n\n');
        rest = blocks.pop()!;
        for (const block of blocks) this.#take(block);
        this.#wakeAll();
      });
      const end = (): void => {
        this.ended = true;
        this.#wakeAll();
      };
      response.on('close', end);
      response.on('error', end);
      started(this);
    });
    asked.on('error', () => {});
    asked.end();
    this.#leave = () => asked.destroy();
    onTestFinished(() => this.leave());
  }

  /** Resolves with the head of the answer. */
  static open(rig: Rig, headers: Record<string, string>): Promise<LiveReader> {
    return new Promise((resolve) => new LiveReader(rig, headers, resolve));
  }

  leave(): void {
    this.#leave();
  }

  async until(isThere: (reader: LiveReader) => boolean): Promise<void> {
    while (!isThere(this)) await new Promise<void>((resolve) => this.#wake.push(resolve));
  }

  async next(): Promise<LiveEvent> {
    await this.until(({ seen }) => seen.length > 0);
    return this.seen.shift()!;
  }

  #take(block: string): void {
    if (block.startsWith(':')) this.beats++;
    else {
      const event = parse(block);
      if (event !== null) this.seen.push(event);
    }
  }

  #wakeAll(): void {
    for (const wake of this.#wake.splice(0)) wake();
  }
}

/** Sends text as it is, and gives all that comes back until the other side closes. */
export function raw(port: number, text: string): Promise<string> {
  return new Promise((resolve) => {
    const socket = connect({ host: '127.0.0.1', port }, () => socket.write(text));
    let all = '';
    socket.setEncoding('latin1');
    socket.on('data', (part: string) => {
      all += part;
    });
    socket.on('error', () => {});
    socket.on('close', () => resolve(all));
  });
}

/** Asks for the live board, and then reads nothing. */
export function deafReader(port: number, cookie: string): Promise<Socket> {
  return new Promise((resolve) => {
    const socket = connect({ host: '127.0.0.1', port }, () => {
      socket.write(`GET /live HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nCookie: ${cookie}\r\n\r\n`);
      socket.once('readable', () => resolve(socket));
    });
    socket.on('error', () => {});
    onTestFinished(() => void socket.destroy());
  });
}
