import { replaceFile } from '../../adapters/host/replace-file.js';
import { type Console, styleOf, type Terminal } from './console.js';
import { eventsWords, readExpected } from './expect.js';
import { type Comparison, compareEvents, isSame } from './expect-compare.js';
import { countWords, differenceText } from './expect-print.js';
import { EXIT, Failure } from './failure.js';

export interface ExpectOptions {
  file: string;
  strict: boolean;
  /** What came is the new expected file. */
  bless: boolean;
  /** Show every difference. */
  all: boolean;
}

/** What a replay gave. */
export interface Came {
  /** Canonical lines. */
  events: readonly string[];
  /** Every log was read to its end, or to `--to`. */
  whole: boolean;
}

/** Runs that nobody watches set CI; there a file that is made of what came would hold for ever. */
export function inCi({ CI = '' }: NodeJS.ProcessEnv = process.env): boolean {
  return !['', '0', 'false'].includes(CI.toLowerCase());
}

/** Throws a Failure with exit code 2. */
export function refuseBless({ bless, yesBless }: { bless?: boolean; yesBless?: boolean }): void {
  if (bless !== true || yesBless === true || !inCi()) return;
  const remedy = 'run it where somebody reads the difference, or add --yes-bless if you mean it';
  throw new Failure(EXIT.usage, `--bless: CI is set, and whatever came would be accepted; ${remedy}`);
}

/** The expected events; null: there is no such file, and --bless is to make it. Throws a Failure. */
export const wantedEvents = ({ file, bless }: ExpectOptions): string[] | null => readExpected(file, bless);

/**
 * Tells how what came differs from what was expected, and with --bless writes it as what is expected from now on. Differences
 * go to `out`, the verdict to `console.err`. Returns the exit code. Throws a Failure when the file cannot be written.
 * @param wanted as from wantedEvents
 */
export function tellVerdict(
  options: ExpectOptions,
  wanted: readonly string[] | null,
  came: Came,
  { out, err }: Pick<Console, 'out' | 'err'>,
): number {
  const { file, strict, bless } = options;
  const compared = compareEvents(wanted ?? [], came.events);
  if (wanted !== null) tell(compared, options, out);
  const same = isSame(compared.counts, strict);
  if (bless) return accept(file, wanted, came, compared, err);
  const counts = `${eventsWords(compared.expected)}; ${countWords(compared)}`;
  err.write(`${file}: ${same ? 'as expected' : 'not as expected'} (${counts})\n`);
  if (!same) return EXIT.differs;
  return came.whole ? EXIT.done : EXIT.failed;
}

function tell(compared: Comparison, { all }: ExpectOptions, out: Terminal): void {
  for (const line of differenceText(compared, { ...styleOf(out), all })) out.write(`${line}\n`);
}

function accept(
  file: string,
  wanted: readonly string[] | null,
  { events, whole }: Came,
  compared: Comparison,
  err: Terminal,
): number {
  if (!whole) {
    err.write(`${file}: not written, as not every log could be read to its end\n`);
    return EXIT.failed;
  }
  if (wanted !== null && isSame(compared.counts, true)) {
    err.write(`${file}: as expected already (${eventsWords(events.length)})\n`);
    return EXIT.done;
  }
  writeExpected(file, events);
  const was = wanted === null ? 'new' : countWords(compared);
  err.write(`${file}: written (${eventsWords(events.length)}; ${was})\n`);
  return EXIT.done;
}

/** Throws a Failure; the old file is then as it was. */
export function writeExpected(file: string, events: readonly string[]): void {
  try {
    replaceFile(file, events.map((line) => `${line}\n`).join(''));
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code ?? String(error);
    throw new Failure(EXIT.failed, `${file}: cannot be written (${code}); check its folder`, error);
  }
}
