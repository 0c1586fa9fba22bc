import { HostClock } from '../../adapters/clock/host-clock.js';
import { MarksFile, marksPath } from '../../adapters/host/marks-file.js';
import { MAX_MARKS, markProblem } from '../../config/marks.js';
import type { Mark, TruckConfig } from '../../config/resolved.js';
import { RULES, type SubjectKind } from '../alerts/rules.js';
import { needs } from '../monitors/marks.js';
import { buildLayout } from '../truck/layout.js';
import { listSubjects } from '../truck/subjects.js';
import type { Console } from './console.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { DEFAULT_STORE } from './store-defaults.js';
import { readTruck } from './truck-file.js';

export interface MarkOptions {
  config: string;
  days?: string;
  who?: string;
  /** Take the mark of the subject back. */
  end?: boolean;
  /** Print what is marked. */
  list?: boolean;
}

/** A sensor that has been bad for longer is to be repaired, not marked. */
export const MAX_DAYS = 90;
const DAY_MS = 86_400_000;
const WHO = /^[^\p{C}\p{Zl}\p{Zp}]{1,64}$/u;
const EXAMPLE = 'axlepost mark tractor/2/left/outer sensor-bad --days 7 --who NAME --config truck.yaml';

/** Says of a sensor that it is bad, takes that back, or lists what was said. @param nowMs wall clock, for tests */
export function markCommand(
  subject: string | undefined,
  what: string | undefined,
  options: MarkOptions,
  { out, err }: Console,
  nowMs = setClock(),
): number {
  const config = readTruck(options.config, err);
  const file = new MarksFile(marksPath((config.store ?? DEFAULT_STORE).path));
  const marks = inForce(file, nowMs);
  if (options.list === true) {
    if (subject !== undefined || options.end === true) throw usage('--list goes alone');
    for (const mark of marks) out.write(`${mark.subject}: ${saying(mark)}\n`);
    if (marks.length === 0) err.write('no sensor is marked\n');
    return EXIT.done;
  }
  if (subject === undefined) throw usage('name the wheel, brake or circuit');
  const others = marks.filter((mark) => mark.subject !== subject);
  if (options.end === true) {
    if (others.length === marks.length)
      throw new Failure(EXIT.failed, `"${subject}" is not marked; --list tells what is`);
    save(file, others);
    out.write(`${placeOf(config, subject)} is no longer marked. It is judged again from now on.\n`);
    return EXIT.done;
  }
  const mark = asked(config, subject, what, options, nowMs);
  if (others.length >= MAX_MARKS)
    throw new Failure(EXIT.failed, `${MAX_MARKS} sensors are marked; take one back first`);
  save(file, [...others, mark]);
  for (const line of meaning(config, mark)) out.write(`${line}\n`);
  return EXIT.done;
}

const usage = (what: string): Failure => new Failure(EXIT.usage, `mark: ${what} — ${EXAMPLE}`);

/** An end by date means nothing where the date is wrong. */
function setClock(): number {
  const clock = new HostClock();
  if (clock.isSet) return Date.now();
  throw new Failure(
    EXIT.failed,
    'mark: the clock of this computer stands before the build of this program; set it first',
  );
}

/** Those whose end has come are not kept. */
function inForce(file: MarksFile, nowMs: number): Mark[] {
  const read = file.read();
  if (read?.problem !== undefined) throw new Failure(EXIT.failed, read.problem);
  return (read?.marks ?? []).filter((mark) => mark.untilMs > nowMs);
}

function asked(
  config: TruckConfig,
  subject: string,
  what: string | undefined,
  { days, who }: MarkOptions,
  nowMs: number,
): Mark {
  const problem = markProblem(config, subject);
  if (problem !== null) throw new Failure(EXIT.usage, `mark: ${problem}`);
  if (what !== 'sensor-bad') throw usage(what === undefined ? 'say what it is: sensor-bad' : `"${what}" is not known`);
  const count = Number(days);
  if (days === undefined || !/^\d{1,2}$/.test(days) || count < 1 || count > MAX_DAYS) {
    throw usage(`say for how long with --days, 1 to ${MAX_DAYS}`);
  }
  if (who === undefined || !WHO.test(who.trim())) throw usage('say who says so with --who, at most 64 letters');
  return { subject, what, who: who.trim(), untilMs: nowMs + count * DAY_MS };
}

function save(file: MarksFile, marks: readonly Mark[]): void {
  try {
    file.write(marks);
  } catch (error) {
    const hint = 'the folder of the store must be there and writable (store.path in the truck file)';
    throw new Failure(EXIT.failed, `${file.path}: cannot be written: ${lineOf(error)}; ${hint}`, error);
  }
}

const until = ({ untilMs }: Mark): string => `${new Date(untilMs).toISOString().slice(0, 16).replace('T', ' ')} UTC`;
const saying = (mark: Mark): string => `${mark.what} until ${until(mark)}, says ${mark.who}`;

function meaning(config: TruckConfig, mark: Mark): string[] {
  const rules = notJudged(config, mark.subject);
  return [
    `${placeOf(config, mark.subject)}: ${saying(mark)}.`,
    rules.length === 0
      ? 'No rule in force needs it; the mark is listed all the same.'
      : `Not judged until then, or until its readings change: ${rules.join(', ')}.`,
    'The mark is listed with every trip and in `open`. Nobody watches this place now: check it by hand at each stop.',
    'A running daemon sees it within seconds. --end takes it back.',
  ];
}

function placeOf({ units }: TruckConfig, subject: string): string {
  const { tires, wheelEnds } = listSubjects(units);
  return [...tires, ...wheelEnds].find((place) => place.subject === subject)?.place ?? subject;
}

/** The rules in force that need a sensor; of another subject than its own with that one's name. */
export function notJudged(config: TruckConfig, sensor: string): string[] {
  const layout = buildLayout(config);
  const subjectsOf: Partial<Record<SubjectKind, readonly string[]>> = {
    tire: layout.tires.map((tire) => tire.subject),
    pair: layout.pairs.map((pair) => pair.subject),
    'wheel-end': layout.wheelEnds.map((end) => end.subject),
    'air/service': ['air/service'],
    'air/supply': ['air/supply'],
  };
  return RULES.filter(({ name }) => config.rules[name].enabled).flatMap(({ name, subject: kind }) =>
    (subjectsOf[kind] ?? [])
      .filter((subject) => needs(layout, sensor, name, subject))
      .map((subject) => (subject === sensor ? name : `${name} of ${subject}`)),
  );
}
