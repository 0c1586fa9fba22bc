import { existsSync, realpathSync } from 'node:fs';
import { storeError } from '../../adapters/store/errors.js';
import { draftsOf } from '../../adapters/store/read-alerts.js';
import { seriesOf } from '../../adapters/store/read-history.js';
import type { Span, StoreReader, Wanted } from '../../adapters/store/reader.js';
import type { TruckConfig } from '../../config/resolved.js';
import { isoTime } from '../alerts/iso-time.js';
import { canonicalEvent } from '../alerts/rendering.js';
import type { Console } from './console.js';
import { EXIT, Failure } from './failure.js';
import { KINDS } from './history-kinds.js';
import { openOut, rowsOut } from './history-out.js';
import {
  type HistoryOptions,
  type HistorySettings,
  historySettings,
  SI_SHOW,
  type Task,
  WHATS,
} from './history-settings.js';
import { chooseStores, findStores, type OpenStore, type StoreFile, whyNot } from './history-stores.js';
import { verifyStore } from './history-verify.js';
import { wheelsOf } from './history-wheels.js';
import { checkReport } from './replay-settings.js';
import { DEFAULT_STORE } from './store-defaults.js';
import { readTruck } from './truck-file.js';

/**
 * Tells what databases hold, and never writes to them. Returns the exit code: failed also where a part of them could not be
 * read. Throws a Failure.
 * @param words what is asked for, and further databases
 */
export async function historyCommand(
  words: readonly string[],
  options: HistoryOptions,
  console: Console,
): Promise<number> {
  const whats = words.filter((word) => (WHATS as readonly string[]).includes(word));
  const others = words.filter((word) => !whats.includes(word));
  const unknown = others.find((word) => !existsSync(word));
  if (unknown !== undefined)
    throw new Failure(EXIT.usage, `history ${unknown}: neither a file nor one of ${WHATS.join(', ')}`);
  if (whats.length > 1) throw new Failure(EXIT.usage, `${whats.join(', ')}: ask for one of them at a time`);
  const names = [...(options.store ?? []), ...others];
  const config = options.config === undefined ? null : readTruck(options.config, console.err);
  if (names.length === 0 && config !== null) names.push((config.store ?? DEFAULT_STORE).path);
  if (names.length === 0) throw new Failure(EXIT.usage, 'history: which database? Add --store axlepost.db');
  if (options.verify === true) return Math.max(...names.map((name) => verifyStore(name, console)));
  const settings = historySettings(whats[0], options);
  checkOut(settings.task, [...names, ...(options.config === undefined ? [] : [options.config])]);
  const files = await findStores(names, console.err);
  const { stores, failed } = await chooseStores(files, settings.trucks, console.err);
  const done = await new History(settings, config, console).tell(stores);
  return failed || !done ? EXIT.failed : EXIT.done;
}

/** What is read must not be written over, nor a file of somebody else by a report. */
function checkOut({ kind, out }: Task, inputs: readonly string[]): void {
  if (out === null) return;
  if (existsSync(out)) {
    const target = realpathSync(out);
    const own = inputs.flatMap((input) => [input, `${input}-wal`]).filter((input) => existsSync(input));
    if (own.some((input) => realpathSync(input) === target))
      throw new Failure(EXIT.usage, `${out}: is read, and would be overwritten; name another file`);
  }
  if (kind === 'report') checkReport(out, {});
}

/** What is asked of one database. config: of the command line, else of the archive that the database is in. */
type Ask = (reader: StoreReader, wanted: Wanted, config: TruckConfig | null) => Promise<void>;

/** One question to some databases. */
class History {
  readonly #settings: HistorySettings;
  readonly #config: TruckConfig | null;
  readonly #console: Console;
  #complete = true;

  constructor(settings: HistorySettings, config: TruckConfig | null, console: Console) {
    this.#settings = settings;
    this.#config = config;
    this.#console = console;
  }

  /** Gives false when something could not be read. */
  async tell(stores: readonly StoreFile[]): Promise<boolean> {
    const { task } = this.#settings;
    if (task.kind !== 'rows' && stores.length > 1) {
      const names = stores.map(({ name }) => name).join(', ');
      throw new Failure(EXIT.usage, `--${task.kind} takes one database; there are ${names}`);
    }
    if (task.kind === 'rows') await this.#rows(task, stores);
    else if (task.kind === 'events') await this.#events(task, stores);
    else await this.#report(task, stores);
    return this.#complete;
  }

  async #rows(task: Task & { kind: 'rows' }, stores: readonly StoreFile[]): Promise<void> {
    const { out, close } = openOut(task.out, '--out', this.#console.out);
    const { words, pages } = KINDS[task.what];
    const to = rowsOut(task, out, stores.length > 1, await this.#wheels(task, stores));
    let isUnsure = false;
    for (const store of stores) {
      await this.#read(store, async (reader, wanted, config) => {
        let count = 0;
        to.begin(reader.about.truck, store.name, config?.show ?? SI_SHOW);
        for (const rows of pages(reader, wanted, this.#settings)) {
          to.rows(reader.about.truck, rows);
          count += rows.length;
          isUnsure ||= rows.some(({ synced }) => synced === 0);
          await turn();
        }
        to.end();
        if (count === 0) this.#nothing(store, reader, wanted);
        else if (task.format === 'table') this.#say(`${store.name}: ${count} ${words[count === 1 ? 0 : 1]}`);
      });
    }
    close();
    if (task.format === 'table' && isUnsure) this.#say('times with ? are by a clock that was not known to be right');
  }

  /** Wheel ends that will occur: the columns of CSV stand before its first row. What cannot be read is told with the rows. */
  async #wheels({ what, format }: Task & { kind: 'rows' }, stores: readonly StoreFile[]): Promise<Set<string>> {
    const wheels = new Set<string>();
    if (what !== 'applications' || format !== 'csv') return wheels;
    for (const store of stores) {
      const reader = await store.open().then(
        (opened) => opened.reader,
        () => null,
      );
      if (reader === null) continue;
      try {
        const wanted = { ...this.#settings.wanted, ...this.#spanOf(reader) };
        for (const rows of KINDS[what].pages(reader, wanted, this.#settings)) {
          for (const row of rows) for (const [wheel] of wheelsOf(row)) wheels.add(wheel);
          await turn();
        }
      } catch (error) {
        whyNot(storeError(error, store.name));
      } finally {
        reader.close();
      }
    }
    return wheels;
  }

  async #events(task: Task & { kind: 'events' }, stores: readonly StoreFile[]): Promise<void> {
    const { out, close } = openOut(task.out, '--events', this.#console.out);
    for (const store of stores) {
      await this.#read(store, async (reader, wanted) => {
        const boots = new Set<number>();
        let count = 0;
        for (const rows of draftsOf(reader, wanted)) {
          if (rows.length > 0) out.write(rows.map(({ draft }) => `${canonicalEvent(draft)}\n`).join(''));
          for (const { boot } of rows) boots.add(boot);
          count += rows.length;
          await turn();
        }
        if (count === 0) this.#nothing(store, reader, wanted);
        if (boots.size > 1)
          this.#say(
            `${store.name}: events of ${boots.size} starts; times count from each start, as replay has them for each`,
          );
        this.#missing(store, reader, count);
      });
    }
    close();
  }

  async #report({ out: path }: Task & { kind: 'report' }, stores: readonly StoreFile[]): Promise<void> {
    const { reportStore } = await import('./history-report.js');
    const settings = this.#settings;
    for (const store of stores) {
      await this.#read(store, (reader, wanted, config) =>
        reportStore(reader, { path, name: store.name }, { settings, config, wanted }, this.#console),
      );
    }
  }

  /** Events that were thinned to save room. Only where all were asked for it can be told. */
  #missing(store: StoreFile, { about }: StoreReader, count: number): void {
    const { span, lastMs, wanted } = this.#settings;
    const asked = [span.fromMs, span.toMs, lastMs, ...Object.values(wanted)];
    const gone = about.lastSeq - count;
    if (asked.every((one) => one === null) && gone > 0)
      this.#say(`${store.name}: ${gone} of ${about.lastSeq} events are no longer kept`);
  }

  /** Opens one, asks, and says what could not be read. One that cannot be opened at all is told. */
  async #read(store: StoreFile, ask: Ask): Promise<void> {
    let opened: OpenStore;
    try {
      opened = await store.open();
    } catch (error) {
      this.#say(whyNot(error));
      this.#complete = false;
      return;
    }
    const { reader, config } = opened;
    try {
      await ask(reader, { ...this.#settings.wanted, ...this.#spanOf(reader) }, this.#config ?? config);
    } catch (error) {
      // Somebody holds it locked, say. What cannot be written is not for each database to tell.
      if (error instanceof Failure) throw error;
      this.#say(whyNot(storeError(error, store.name)));
      this.#complete = false;
    } finally {
      for (const problem of reader.problems) this.#say(`${store.name}: ${problem}`);
      if (reader.problems.length > 0) this.#complete = false;
      reader.close();
    }
  }

  #spanOf(reader: StoreReader): Span {
    const { span, lastMs } = this.#settings;
    if (lastMs === null) return span;
    const end = span.toMs ?? reader.newestMs();
    return end === null ? span : { fromMs: end - lastMs, toMs: span.toMs };
  }

  /** A question without an answer may be one about another time, or a name that is spelt otherwise. */
  #nothing(store: StoreFile, reader: StoreReader, wanted: Wanted): void {
    const { task, subjects } = this.#settings;
    const { words, none: many = words[1] } = KINDS[task.kind === 'rows' ? task.what : 'events'];
    const about = subjects.length === 0 ? '' : ` of ${subjects.join(', ')}`;
    const [first, last] = [reader.runs[0]?.zero_wall_ms, reader.newestMs()];
    const has =
      first === undefined || last === null
        ? 'nothing was ever stored in it'
        : `it goes from ${isoTime(first).slice(0, 16)}Z to ${isoTime(last).slice(0, 16)}Z`;
    const known = task.kind === 'rows' && task.what === 'readings' ? knownSeries(reader, wanted, subjects) : '';
    this.#say(`${store.name}: no ${many}${about}; ${known === '' ? has : known}`);
  }

  #say(line: string): void {
    this.#console.err.write(`${line}\n`);
  }
}

/** Lets a closed pipe be noticed, and a signal. */
const turn = (): Promise<void> => new Promise((done) => setImmediate(done));

/** What there is, where the question meant none of it: of the same unit or circuit what it has, else their names. */
function knownSeries(reader: StoreReader, wanted: Wanted, asked: readonly string[]): string {
  if (reader.series.length === 0 || seriesOf(reader, wanted).length > 0) return '';
  const first = (subject: string): string => subject.split('/')[0]!;
  const alike = reader.series.filter(({ subject }) => asked.some((one) => first(one) === first(subject)));
  const quantities = new Set(reader.series.map(({ quantity }) => quantity));
  const subjects =
    alike.length > 0
      ? new Set(alike.map(({ subject }) => subject))
      : new Set(reader.series.map(({ subject }) => (subject.includes('/') ? `${first(subject)}/…` : subject)));
  return `there are ${[...quantities].join(', ')} of ${[...subjects].join(', ')}`;
}
