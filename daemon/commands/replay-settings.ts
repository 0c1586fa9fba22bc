import { accessSync, constants, existsSync, realpathSync, statSync } from 'node:fs';
import { dirname, resolve } from 'node:path';
import { parseBrokerUrl } from '../../adapters/mqtt/broker-url.js';
import { sidecarPath } from '../../adapters/recorder/read.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { Out } from './console.js';
import { refuseBless } from './expect-verdict.js';
import { EXIT, Failure } from './failure.js';
import { type Moment, parseMoment } from './moment.js';
import { readTruck } from './truck-file.js';
import { isReport } from './write-report.js';

/** As the command line gives them. */
export interface ReplayOptions {
  /** Recordings of `run` bring their own. */
  config?: string;
  speed?: string;
  from?: string;
  to?: string;
  settle?: boolean;
  fresh?: boolean;
  format?: string;
  events?: string;
  store?: string;
  report?: string;
  publish?: string;
  yesPublish?: boolean;
  expect?: string;
  strict?: boolean;
  /** What comes is expected from now on. */
  bless?: boolean;
  /** --bless where nobody watches. */
  yesBless?: boolean;
  allDifferences?: boolean;
  /** Of another command: canonical events are handed back, and nothing is printed but what is wrong with the logs. */
  collect?: boolean;
}

export interface ReplaySettings {
  /** null: as recorded. */
  config: TruckConfig | null;
  /** null: as fast as it goes. */
  speed: number | null;
  from: Moment | null;
  to: Moment | null;
  format: 'ndjson' | 'canonical';
}

/** Everything that can be refused before anything is read or written is refused here, with exit code 2. */
export function replaySettings(logs: readonly string[], options: ReplayOptions, err: Out): ReplaySettings {
  const { format = 'ndjson', speed = 'max' } = options;
  if (format !== 'ndjson' && format !== 'canonical') refuse(`--format ${format}: write ndjson or canonical`);
  if (options.format !== undefined && options.events === undefined)
    refuse('--format says how --events writes; add --events FILE, or --events - for stdout');
  if (options.strict === true && options.expect === undefined)
    refuse('--strict says how --expect compares; add --expect FILE');
  if (options.bless === true && options.expect === undefined)
    refuse('--bless writes the file of --expect; add --expect FILE');
  if (options.allDifferences === true && options.expect === undefined)
    refuse('--all-differences says what --expect shows; add --expect FILE');
  refuseBless(options);
  if (speed !== 'max' && !(Number(speed) > 0 && Number.isFinite(Number(speed))))
    refuse(`--speed ${speed}: write max or a number above 0, for example 10`);
  checkPublish(options);
  checkFiles(logs, options);
  return {
    config: options.config === undefined ? null : readTruck(options.config, err),
    speed: speed === 'max' ? null : Number(speed),
    from: options.from === undefined ? null : parseMoment('--from', options.from),
    to: options.to === undefined ? null : parseMoment('--to', options.to),
    format,
  };
}

function refuse(line: string): never {
  throw new Failure(EXIT.usage, line);
}

function checkPublish({ publish, yesPublish }: ReplayOptions): void {
  if (publish === undefined) return;
  const { address, error } = parseBrokerUrl(publish);
  if (address === null) refuse(`--publish: ${error}`);
  if (!address.loopback && yesPublish !== true) {
    refuse(`--publish: ${address.host} is not this machine; add --yes-publish if you mean to send a replay there`);
  }
}

/** What is written must not be what is read. */
function checkFiles(logs: readonly string[], options: ReplayOptions): void {
  const { events, store, expect, config, report } = options;
  if (expect !== undefined && [events, store].some((path) => path !== undefined && resolve(path) === resolve(expect)))
    refuse(`${expect}: is what --expect compares with; name another file for --events or --store`);
  if (store !== undefined && existsSync(store)) refuse(`${store}: exists already; name a new file for --store`);
  const inputs = [...logs.filter((log) => log !== '-').flatMap((log) => [log, sidecarPath(log)]), config, expect];
  if (events !== undefined && events !== '-') refuseInput('--events', events, inputs);
  if (report === undefined) return;
  refuseInput('--report', report, inputs);
  checkReport(report, options);
}

function refuseInput(option: string, path: string, inputs: readonly (string | null | undefined)[]): void {
  if (!existsSync(path)) return;
  const target = realpathSync(path);
  if (inputs.some((input) => input && existsSync(input) && realpathSync(input) === target))
    refuse(`${path}: is read by this replay and would be overwritten; choose another ${option} file`);
}

/** A long replay is not to end with a report that cannot be kept, nor with somebody else's file gone. */
export function checkReport(report: string, { events, store }: ReplayOptions): void {
  if (report === '-') refuse('--report -: a report is a file; name one, for example --report shift.html');
  if ([events, store].some((path) => path !== undefined && resolve(path) === resolve(report)))
    refuse(`${report}: is written by --events or --store too; name another file for --report`);
  try {
    accessSync(dirname(resolve(report)), constants.W_OK);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    refuse(`${report}: its folder cannot be written to (${code}); choose another --report file`);
  }
  if (!existsSync(report)) return;
  if (!statSync(report).isFile() || !isReport(report))
    refuse(`${report}: exists already and is no report of this program; name another file for --report`);
}
