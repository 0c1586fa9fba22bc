import { FrameReader, type FrameReaderOptions, type Stream } from './frame-reader.js';

/** A longer line is no candump line; it is counted as bad and skipped. */
export const LONGEST_LINE = 4096;

const LF = 0x0a;
const HASH = 0x23;

/** candump text in chunks of any size → frames. How the text is cut up changes nothing. */
export class CandumpText {
  private readonly reader: FrameReader;
  private readonly stream: Stream;
  private readonly tell: (column: number | null, text: string, hint: string) => void;
  /** The part of a line that has come. */
  private readonly carry = new Uint8Array(LONGEST_LINE);
  private carryLength = 0;
  private tooLong = false;

  /** @param tell told of problems of the line that `counters.lines` counted last; column from 1, null for the whole line */
  constructor(options: FrameReaderOptions, stream: Stream, tell: CandumpText['tell']) {
    this.stream = stream;
    this.tell = tell;
    this.reader = new FrameReader(options, stream, tell);
  }

  push(bytes: Uint8Array): void {
    let p = 0;
    if (this.carryLength > 0 || this.tooLong) {
      const lineEnd = bytes.indexOf(LF);
      this.keep(bytes, 0, lineEnd < 0 ? bytes.length : lineEnd);
      if (lineEnd < 0) return;
      this.endCarried('');
      p = lineEnd + 1;
    }
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
    for (;;) {
      p = this.reader.takePlain(bytes, view, p);
      const lineEnd = bytes.indexOf(LF, p);
      if (lineEnd < 0) break;
      if (lineEnd - p > LONGEST_LINE) this.dropTooLong();
      else this.reader.takeLine(bytes, p, lineEnd);
      p = lineEnd + 1;
    }
    this.keep(bytes, p, bytes.length);
  }

  /** @param stopped the caller read no further: what has come of a line is no damage and is dropped */
  end(stopped: boolean): void {
    if (!stopped) this.endLastLine();
    this.carryLength = 0;
    this.tooLong = false;
    this.reader.forget();
  }

  private keep(bytes: Uint8Array, start: number, end: number): void {
    this.tooLong ||= this.carryLength + end - start > LONGEST_LINE;
    if (this.tooLong) return;
    this.carry.set(bytes.subarray(start, end), this.carryLength);
    this.carryLength += end - start;
  }

  private endCarried(prefix: string): void {
    if (this.tooLong) this.dropTooLong();
    else this.reader.takeLine(this.carry, 0, this.carryLength, prefix);
    this.tooLong = false;
    this.carryLength = 0;
  }

  /** A last line without a line end is taken if it is whole, and told of where that cannot be known. */
  private endLastLine(): void {
    if (this.carryLength === 0 && !this.tooLong) return;
    const { counters } = this.stream;
    const { line } = this.reader;
    const saysItsLength = !this.carry.subarray(0, this.carryLength).includes(HASH);
    const { bad } = counters;
    this.endCarried('cut short: ');
    if (counters.bad > bad || line.kind !== 'data' || line.length === line.data.length || saysItsLength) return;
    this.tell(null, `no line end; taken as a frame of ${line.length} bytes`, 'it may have been cut short');
  }

  private dropTooLong(): void {
    const { counters } = this.stream;
    counters.lines++;
    counters.bad++;
    this.tell(null, `line longer than ${LONGEST_LINE} bytes`, 'no candump line is; the file may be damaged');
  }
}
