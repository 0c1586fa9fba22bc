import { existsSync, statSync, writeFileSync } from 'node:fs';
import { interfaceOf } from '../../adapters/can/interfaces.js';
import { loadTruckFile } from '../../config/load.js';
import { formatProblem } from '../../config/problems.js';
import type { TruckConfig } from '../../config/resolved.js';
import { NAME } from '../../config/scalars.js';
import { decisions, draftOf } from '../survey/draft.js';
import { type Made, makeReport } from '../survey/make-report.js';
import { MAX_BUSES, Survey } from '../survey/survey.js';
import { openLogs } from './archives.js';
import { type Console, styleOf } from './console.js';
import { EXIT, Failure } from './failure.js';
import { inOrderOfTime } from './log-order.js';
import { Progress } from './progress.js';
import { listen, MACHINE, type SurveyEdges } from './survey-live.js';
import { readSurveyLogs } from './survey-logs.js';
import { surveyLines } from './survey-print.js';
import { count, time } from './survey-words.js';
import { readTruck } from './truck-file.js';

/** As the command line gives them. */
export interface SurveyOptions {
  seconds?: string;
  draft?: string;
  config?: string;
  format?: string;
  all?: boolean;
}

/** What is surveyed, once everything that can be refused beforehand was. */
interface Plan {
  sources: string[];
  live: boolean;
  /** null: to the end of a log. */
  seconds: number | null;
  config: TruckConfig | null;
  json: boolean;
}

const BUS_SECONDS = 60;
const MOST_SECONDS = 86_400;
const MAIN = 'main';
/** Names of network interfaces in Linux (dev_valid_name). */
const LINK = /^[^\s/:]{1,15}$/;
const DEFAULT_SHOW: TruckConfig['show'] = { pressure: 'kPa', temperature: '°C', position: 'exact' };

/** Surveys buses or logs; returns the exit code. Throws a Failure. */
export async function surveyCommand(
  sources: string[],
  options: SurveyOptions,
  console: Console,
  edges: SurveyEdges = MACHINE,
): Promise<number> {
  const plan = planOf(sources, options, console);
  const progress = new Progress(console.err, 'survey');
  let early = false;
  const stop = untilTold(() => {
    early = true;
  });
  let made: Made;
  let whole = true;
  try {
    const result = plan.live
      ? await surveyBuses(plan, edges, console, progress, stop.told)
      : await surveyLogs(plan, console, progress, () => early);
    whole = result.whole;
    made = result.made;
    made.report.source.endedEarly ||= early;
  } finally {
    progress.end();
    stop.forget();
  }
  const frames = made.report.buses.reduce((sum, bus) => sum + bus.frames, 0);
  const errorFrames = made.report.buses.reduce((sum, bus) => sum + bus.errorFrames, 0);
  // Of a silent bus there is nothing to read but the one line; a program that reads JSON gets its document all the same.
  if (frames + errorFrames > 0 || plan.json) print(made, plan, options, console);
  if (frames === 0) throw new Failure(EXIT.failed, nothingHeard(plan, made));
  if (options.draft !== undefined) writeDraft(made, plan, options.draft, console);
  return whole ? EXIT.done : EXIT.failed;
}

/** Ctrl-C ends the listening once; the second time it ends the program, as ever. */
function untilTold(onTold: () => void): { told: Promise<void>; forget: () => void } {
  let tell: () => void = () => {};
  const told = new Promise<void>((resolve) => {
    tell = () => {
      onTold();
      resolve();
    };
  });
  const signals = ['SIGINT', 'SIGTERM'] as const;
  for (const signal of signals) process.once(signal, tell);
  return { told, forget: () => signals.forEach((signal) => void process.removeListener(signal, tell)) };
}

function refuse(line: string): never {
  throw new Failure(EXIT.usage, line);
}

/** A folder that is called like an interface is none. */
const isLog = (path: string): boolean =>
  path === '-' || (existsSync(path) && !(statSync(path).isDirectory() && interfaceOf(path) === path));

function planOf(sources: string[], options: SurveyOptions, console: Console): Plan {
  const { seconds, draft, format = 'text' } = options;
  if (format !== 'text' && format !== 'json') refuse(`--format ${format}: write text or json`);
  if (seconds !== undefined && !(Number(seconds) > 0 && Number(seconds) <= MOST_SECONDS))
    refuse(`--seconds ${seconds}: write a number above 0, at most ${MOST_SECONDS}, for example 60`);
  if (draft !== undefined && existsSync(draft)) refuse(`${draft}: exists already; name a new file for --draft`);
  const logs = sources.filter(isLog);
  const links = sources.filter((source) => !isLog(source));
  const lost = links.find((link) => !LINK.test(link) || link.includes('.log'));
  if (lost !== undefined) refuse(`${lost}: no such file; name a log, or a CAN interface such as can0`);
  if (logs.length > 0 && links.length > 0)
    refuse(`${links[0]} is no file and ${logs[0]} is one; name either interfaces or logs`);
  if (new Set(sources).size < sources.length) refuse('one source is named twice; name each once');
  if (links.length > MAX_BUSES) refuse(`${links.length} interfaces; at most ${MAX_BUSES} are possible`);
  return {
    sources,
    live: links.length > 0,
    seconds: seconds === undefined ? null : Number(seconds),
    config: options.config === undefined ? null : readTruck(options.config, console.err),
    json: format === 'json',
  };
}

/** The first bus is called main, further ones after their interfaces, as far as a name may have those letters. */
export function busName(link: string, index: number): string {
  if (index === 0) return MAIN;
  const name = link.replace(/[^A-Za-z0-9_-]+/g, '-').slice(0, 32);
  return NAME.test(name) && name !== MAIN ? name : `bus-${index + 1}`;
}

function liveBuses({ sources, config }: Plan): TruckConfig['buses'] {
  if (config === null)
    return sources.map((link, i) => ({ name: busName(link, i), interface: link, acknowledge: false }));
  return sources.map((link) => {
    const bus = config.buses.find((one) => one.interface === link || one.name === link);
    const known = config.buses.map((one) => one.interface).join(', ');
    return bus ?? refuse(`${link}: no bus of the truck file; its interfaces: ${known}`);
  });
}

interface Result {
  made: Made;
  /** Everything was read. */
  whole: boolean;
}

async function surveyBuses(
  plan: Plan,
  edges: SurveyEdges,
  console: Console,
  progress: Progress,
  stopped: Promise<void>,
): Promise<Result> {
  const { config, sources } = plan;
  const buses = liveBuses(plan);
  const survey = new Survey(config?.signals);
  for (const bus of config?.buses ?? buses) survey.addBus(bus.name, bus.interface);
  const seconds = plan.seconds ?? BUS_SECONDS;
  const { listened, skipped, ms } = await listen({
    buses: buses.map((bus) => ({ bus, index: survey.buses.findIndex(({ name }) => name === bus.name) })),
    ...{ survey, edges, seconds, stopped },
    hasTruckFile: config !== null,
    nowMs: () => performance.now(),
    onNote: (line) => {
      progress.end();
      console.err.write(`${line}\n`);
    },
    onProgress: (s) => progress.update(Math.min(1, s / seconds), `${time(1000 * s)}, ${heard(survey)}`),
  });
  const nothing = { badLines: 0, otherInterfaces: 0, clamped: 0, seams: 0 };
  const source = {
    kind: 'bus' as const,
    names: sources,
    listened,
    skipped: { all: skipped, shortIds: null, rtr: null, fd: null },
    ...nothing,
    endedEarly: ms < 1000 * seconds - 500,
  };
  return { made: makeReport(survey, config, source, { from: 0, to: ms }), whole: true };
}

/** What there is so far, for the progress bar. */
function heard(survey: Survey): string {
  const frames = survey.buses.reduce((sum, bus) => sum + bus.frames, 0);
  const senders = survey.buses.reduce((sum, bus) => sum + bus.senders.filter((one) => one !== undefined).length, 0);
  return `${count(frames)} frames, ${senders} senders`;
}

async function surveyLogs(plan: Plan, console: Console, progress: Progress, isTold: () => boolean): Promise<Result> {
  const { config, sources } = plan;
  const survey = new Survey(config?.signals);
  for (const bus of config?.buses ?? []) survey.addBus(bus.name, bus.interface);
  const opened = await openLogs(sources, console.err);
  try {
    return await surveyOpened(opened.logs, plan, survey, console, progress, isTold);
  } finally {
    await opened.close();
  }
}

async function surveyOpened(
  logs: readonly string[],
  { config, sources, seconds }: Plan,
  survey: Survey,
  console: Console,
  progress: Progress,
  isTold: () => boolean,
): Promise<Result> {
  const ordered = await inOrderOfTime(logs, console.err);
  const { counts: c, whole } = await readSurveyLogs({
    logs: ordered,
    survey,
    config,
    console,
    seconds,
    isTold,
    onProgress: (share) => progress.update(share, heard(survey)),
    onNote: () => progress.end(),
    nameOf: busName,
  });
  const source = {
    kind: 'log' as const,
    names: sources,
    listened: [],
    skipped: { all: c.shortIds + c.rtr + c.fd, shortIds: c.shortIds, rtr: c.rtr, fd: c.fd },
    badLines: c.bad + c.badPackets,
    otherInterfaces: c.unknownInterface,
    clamped: c.clamped,
    seams: c.seams,
    endedEarly: false,
  };
  return { made: makeReport(survey, config, source), whole };
}

function print({ report }: Made, { json, config }: Plan, { all }: SurveyOptions, { out }: Console): void {
  if (json) {
    out.write(`${JSON.stringify(report, null, 1)}\n`);
    return;
  }
  const options = { ...styleOf(out), show: config?.show ?? DEFAULT_SHOW, all: all === true };
  out.write(`${surveyLines(report, options).join('\n')}\n`);
}

function nothingHeard({ live, sources }: Plan, { report }: Made): string {
  if (!live) return `${sources.join(', ')}: no 29-bit frame of the buses that were asked for`;
  const s = Math.round(report.durationS);
  const link = sources[0]!;
  return `${sources.join(', ')}: no frame in ${s} s; is the ignition on? Look at the bitrate with "ip -details link show ${link}"`;
}

function writeDraft({ report, guess }: Made, { config, sources }: Plan, path: string, { err }: Console): void {
  const buses = report.buses.map((bus) => ({ name: bus.bus, interface: bus.interface, acknowledge: false }));
  const text = draftOf({
    ...{ report, guess },
    buses: config?.buses ?? buses,
    fleet: config?.fleet ?? null,
    truck: config?.truck ?? null,
    source: sources.map((source) => source.split('/').at(-1)).join(', '),
  });
  try {
    writeFileSync(path, text, { flag: 'wx' });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why = code === 'EEXIST' ? 'exists already; name a new file for --draft' : `cannot be written (${code})`;
    throw new Failure(EXIT.failed, `${path}: ${why}`, error);
  }
  const lines = decisions(text);
  err.write(`${path}: drafted; a person must decide at ${lines.length} places: lines ${lines.join(', ')}\n`);
  for (const problem of loadTruckFile(path).problems ?? []) err.write(`${formatProblem(problem)}\n`);
}
