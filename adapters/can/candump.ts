import type { StreamMs, WallMs } from '../../daemon/time.js';
import { FrameReader, type FrameReaderOptions, type LineCounts } from './frame-reader.js';
import { PROBLEMS_IN_WORDS, type Problem } from './problem.js';
import { byteOrderMark, HEAD_BYTES, notCandump } from './sniff.js';
import { type StampEvents, Stamps } from './stamps.js';

/** A longer line is no candump line; it is counted as bad and skipped. */
export const LONGEST_LINE = 4096;

export interface LogParserOptions extends FrameReaderOptions, StampEvents {
  /** Wall time of stream time 0; null or absent: the first stamp cut to a whole second. */
  zeroMs?: WallMs | null;
  /** At most 20 a file, and one that says how many more there were. */
  onProblem?(problem: Problem): void;
}

/** What was read so far, over all files. */
export interface LogCounts extends LineCounts {
  clamped: number;
  seams: number;
  gaps: number;
}

const LF = 0x0a;
const HASH = 0x23;
/** Stamps behind the newest in this share of a file's frames are no jitter of an adapter, but differences. */
const DELTA_SHARE = 0.25;
const DELTA_LEAST = 100;

/**
 * candump text in chunks of any size → frames of interest with their stream time. How the text is cut up changes
 * nothing, except that `lastT` lags by a line that is not whole.
 *
 * Every line with a whole frame moves the time, whether it is of interest or not; bad lines do not.
 */
export class LogParser {
  private readonly options: LogParserOptions;
  private readonly stamps: Stamps;
  private readonly reader: FrameReader;

  /** State within the file: its first KB while that is incomplete, and the part of a line that has come. */
  private readonly head = new Uint8Array(HEAD_BYTES);
  private headLength = 0;
  private stage: 'head' | 'lines' | 'refused' = 'head';
  private readonly carry = new Uint8Array(LONGEST_LINE);
  private carryLength = 0;
  private tooLong = false;
  private told = 0;
  private before = { lines: 0, frames: 0, clamped: 0 };

  constructor(options: LogParserOptions) {
    this.options = options;
    this.stamps = new Stamps(options.zeroMs ?? null, options);
    this.reader = new FrameReader(options, this.stamps, (column, text, hint) => this.tellLine(column, text, hint));
  }

  /** Stream time of the last frame, of interest or not; 0 before the first. */
  get lastT(): StreamMs {
    return this.stamps.t;
  }

  /** Wall time of stream time 0, moved by seams; null before the first frame. */
  get zeroMs(): WallMs | null {
    return this.stamps.zeroMs;
  }

  counts(): LogCounts {
    const { clamped, seams, gaps } = this.stamps;
    return { ...this.reader.counters, clamped, seams, gaps };
  }

  /** Takes chunk[0, length). The chunk may be reused afterwards. */
  push(chunk: Uint8Array, length: number = chunk.length): void {
    const bytes = length === chunk.length ? chunk : chunk.subarray(0, length);
    if (this.stage === 'lines') this.takeText(bytes);
    else if (this.stage === 'head') this.takeHead(bytes);
  }

  /**
   * The file is over; the next push begins another one, in the same stream of time.
   * Returns true when the file was no candump text and was skipped as a whole.
   * @param stopped the caller read no further: what has come of a line is no damage and is dropped
   */
  end(stopped = false): boolean {
    if (this.stage === 'head') this.begin(this.head.subarray(0, this.headLength));
    if (stopped) this.carryLength = 0;
    else this.endLastLine();
    const { counters } = this.reader;
    const clamped = this.stamps.clamped - this.before.clamped;
    if (clamped >= DELTA_LEAST && clamped > DELTA_SHARE * (counters.frames - this.before.frames)) {
      this.tellFile(`${clamped} stamps go backwards`, 'stamps of candump -t d are no times: record with -L or -t a');
    }
    const untold = this.told - PROBLEMS_IN_WORDS;
    this.told = 0;
    if (untold > 0) this.tellFile(`${untold} more problem${untold === 1 ? '' : 's'} like these`, '');
    this.told = this.headLength = 0;
    const refused = this.stage === 'refused';
    this.stage = 'head';
    this.tooLong = false;
    this.before = { lines: counters.lines, frames: counters.frames, clamped: this.stamps.clamped };
    return refused;
  }

  /** Waits for the first KB, so that what the file is taken for does not depend on how it is cut up. */
  private takeHead(bytes: Uint8Array): void {
    if (this.headLength === 0 && bytes.length >= HEAD_BYTES) {
      this.begin(bytes);
      return;
    }
    const taken = Math.min(HEAD_BYTES - this.headLength, bytes.length);
    this.head.set(bytes.subarray(0, taken), this.headLength);
    this.headLength += taken;
    if (this.headLength < HEAD_BYTES) return;
    this.begin(this.head);
    this.push(bytes.subarray(taken));
  }

  private begin(bytes: Uint8Array): void {
    const head = bytes.subarray(0, HEAD_BYTES);
    const other = notCandump(head);
    this.stage = other === null ? 'lines' : 'refused';
    if (other === null) this.takeText(bytes.subarray(byteOrderMark(head)));
    else this.tellFile(other.text, other.hint);
  }

  private takeText(bytes: Uint8Array): void {
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
    const { line, counters } = this.reader;
    const saysItsLength = !this.carry.subarray(0, this.carryLength).includes(HASH);
    const { bad } = counters;
    this.endCarried('cut short: ');
    if (counters.bad > bad || line.kind !== 'data' || line.length === line.data.length || saysItsLength) return;
    this.tellLine(null, `no line end; taken as a frame of ${line.length} bytes`, 'it may have been cut short');
  }

  private dropTooLong(): void {
    this.reader.counters.lines++;
    this.reader.counters.bad++;
    this.tellLine(null, `line longer than ${LONGEST_LINE} bytes`, 'no candump line is; the file may be damaged');
  }

  private tellLine(column: number | null, text: string, hint: string): void {
    this.tell({ line: this.reader.counters.lines - this.before.lines, column, text, hint });
  }

  private tellFile(text: string, hint: string): void {
    this.tell({ line: null, column: null, text, hint });
  }

  private tell(problem: Problem): void {
    if (this.told++ < PROBLEMS_IN_WORDS) this.options.onProblem?.(problem);
  }
}
