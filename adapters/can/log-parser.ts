import type { StreamMs, WallMs } from '../../daemon/time.js';
import { CandumpText } from './candump.js';
import { Capture } from './capture.js';
import { type FrameReaderOptions, INTEREST_SIZE, type Stream } from './frame-reader.js';
import { Interfaces } from './interfaces.js';
import { type LogCounts, newCounters } from './log-counts.js';
import { PROBLEMS_IN_WORDS, type Problem } from './problem.js';
import { byteOrderMark, HEAD_BYTES, sniff } from './sniff.js';
import { type StampEvents, Stamps } from './stamps.js';

export interface LogParserOptions extends FrameReaderOptions, StampEvents {
  /** Wall time of stream time 0; null or absent: the first stamp cut to a whole second. */
  zeroMs?: WallMs | null;
  /** At most 20 a file, and one that says how many more there were. */
  onProblem?(problem: Problem): void;
}

/** Stamps behind the newest in this share of a file's frames are no jitter of an adapter, but differences. */
const DELTA_SHARE = 0.25;
const DELTA_LEAST = 100;

/**
 * A recording in chunks of any size → frames of interest with their stream time. What it is, candump text, pcap or
 * pcapng, its first bytes say. How it is cut up changes nothing, except that `lastT` lags by what is not whole.
 *
 * Every whole frame moves the time, whether it is of interest or not; bad lines and packets do not.
 */
export class LogParser {
  private readonly options: LogParserOptions;
  private readonly stream: Stream;
  private readonly text: CandumpText;
  private readonly capture: Capture;

  /** State within the file, and its first KB while that is incomplete. */
  private readonly head = new Uint8Array(HEAD_BYTES);
  private headLength = 0;
  private stage: 'head' | 'text' | 'capture' | 'refused' = 'head';
  private told = 0;
  private before = { lines: 0, frames: 0, clamped: 0 };

  constructor(options: LogParserOptions) {
    if (options.interest.length !== INTEREST_SIZE) throw new RangeError('interest has not 2^18 entries');
    this.options = options;
    const interfaces = new Interfaces(options.busOf, options.oneBus ?? false, (text, hint) => {
      if (this.stage === 'text') this.tellLine(null, text, hint);
      else this.tellFile(text, hint);
    });
    this.stream = { stamps: new Stamps(options.zeroMs ?? null, options), interfaces, counters: newCounters() };
    this.text = new CandumpText(options, this.stream, (column, text, hint) => this.tellLine(column, text, hint));
    this.capture = new Capture(options, this.stream, (text, hint) => this.tellFile(text, hint));
  }

  /** Stream time of the last frame, of interest or not; 0 before the first. */
  get lastT(): StreamMs {
    return this.stream.stamps.t;
  }

  /** Wall time of stream time 0, moved by seams; null before the first frame. */
  get zeroMs(): WallMs | null {
    return this.stream.stamps.zeroMs;
  }

  counts(): LogCounts {
    const { clamped, seams, gaps } = this.stream.stamps;
    return { ...this.stream.counters, clamped, seams, gaps };
  }

  /** Before a file: what its interface is called if the file itself does not say so; see interfaceOf. */
  nameInterface(name: string): void {
    this.capture.unnamed = name;
  }

  /** Takes chunk[0, length). The chunk may be reused afterwards. */
  push(chunk: Uint8Array, length: number = chunk.length): void {
    const bytes = length === chunk.length ? chunk : chunk.subarray(0, length);
    if (this.stage === 'text') this.text.push(bytes);
    else if (this.stage === 'capture') this.takeCapture(bytes);
    else if (this.stage === 'head') this.takeHead(bytes);
  }

  /**
   * The file is over; the next push begins another one, in the same stream of time.
   * Returns true when the file was of another kind and was skipped as a whole.
   * @param stopped the caller read no further: what has come of a line or packet is no damage and is dropped
   */
  end(stopped = false): boolean {
    if (this.stage === 'head') this.begin(this.head.subarray(0, this.headLength));
    if (this.stage === 'text') this.text.end(stopped);
    if (this.stage === 'capture' && !this.capture.end(stopped)) this.stage = 'refused';
    const { counters, stamps } = this.stream;
    const clamped = stamps.clamped - this.before.clamped;
    const backwards = clamped >= DELTA_LEAST && clamped > DELTA_SHARE * (counters.frames - this.before.frames);
    if (backwards && this.stage === 'text') {
      this.tellFile(`${clamped} stamps go backwards`, 'stamps of candump -t d are no times: record with -L or -t a');
    }
    const untold = this.told - PROBLEMS_IN_WORDS;
    this.told = 0;
    if (untold > 0) this.tellFile(`${untold} more problem${untold === 1 ? '' : 's'} like these`, '');
    this.told = this.headLength = 0;
    const refused = this.stage === 'refused';
    this.stage = 'head';
    this.before = { lines: counters.lines, frames: counters.frames, clamped: stamps.clamped };
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
    const found = sniff(head);
    if (found === 'candump') {
      this.stage = 'text';
      this.text.push(bytes.subarray(byteOrderMark(head)));
    } else if (found === 'pcap' || found === 'pcapng') {
      this.stage = 'capture';
      this.capture.begin(found);
      this.takeCapture(bytes);
    } else {
      this.stage = 'refused';
      this.tellFile(found.text, found.hint);
    }
  }

  private takeCapture(bytes: Uint8Array): void {
    if (!this.capture.push(bytes)) this.stage = 'refused';
  }

  private tellLine(column: number | null, text: string, hint: string): void {
    this.tell({ line: this.stream.counters.lines - this.before.lines, column, text, hint });
  }

  private tellFile(text: string, hint: string): void {
    this.tell({ line: null, column: null, text, hint });
  }

  private tell(problem: Problem): void {
    if (this.told++ < PROBLEMS_IN_WORDS) this.options.onProblem?.(problem);
  }
}
