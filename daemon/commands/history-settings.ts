import type { Span, Wanted } from '../../adapters/store/reader.js';
import { parseQuantity } from '../../config/quantities.js';
import { RULE_NAMES, type RuleName, type TruckConfig, URGENCIES, type Urgency } from '../../config/resolved.js';
import type { WallMs } from '../time.js';
import { EXIT, Failure } from './failure.js';

export const WHATS = [
  'alerts',
  'events',
  'readings',
  'applications',
  'air-tests',
  'air-cycles',
  'trips',
  'start-checks',
] as const;
export type What = (typeof WHATS)[number];

export const FORMATS = ['table', 'csv', 'ndjson'] as const;
export type Format = (typeof FORMATS)[number];

/** As commander gives them. */
export interface HistoryOptions {
  store?: string[];
  config?: string;
  truck?: string[];
  subject?: string[];
  quantity?: string[];
  rule?: string[];
  urgency?: string;
  from?: string;
  to?: string;
  last?: string;
  every?: string;
  format?: string;
  out?: string;
  events?: string;
  report?: string;
  verify?: boolean;
}

/** What is to be told. */
export type Task =
  | { kind: 'rows'; what: What; format: Format; out: string | null }
  | { kind: 'events'; out: string | null }
  | { kind: 'report'; out: string };

export interface HistorySettings {
  task: Task;
  /** Trucks whose databases are read; null: all. */
  trucks: readonly string[] | null;
  wanted: Omit<Wanted, keyof Span>;
  /** Of `--subject`, as it was written. */
  subjects: readonly string[];
  span: Span;
  /** So much before the newest of each database, or before `span.toMs`. */
  lastMs: number | null;
  /** Minutes of readings are put together to parts of so long; null: as they are stored. */
  everyMs: number | null;
}

type Filter = 'subject' | 'quantity' | 'rule' | 'urgency';

/** What each can be filtered by, besides time and truck. */
const FILTERS: Record<What, readonly Filter[]> = {
  alerts: ['subject', 'rule', 'urgency'],
  events: ['subject', 'rule', 'urgency'],
  readings: ['subject', 'quantity'],
  applications: ['subject'],
  'air-tests': ['subject'],
  'air-cycles': [],
  trips: [],
  'start-checks': ['subject'],
};

const wrong = (line: string): Failure => new Failure(EXIT.usage, line);

/** Throws a Failure with one line for what does not fit together. */
export function historySettings(what: string | undefined, options: HistoryOptions): HistorySettings {
  const task = taskOf(what, options);
  const may: readonly Filter[] = task.kind === 'rows' ? FILTERS[task.what] : FILTERS.events;
  const told = task.kind === 'rows' ? task.what : `--${task.kind}`;
  for (const filter of ['subject', 'quantity', 'rule', 'urgency'] as const) {
    if (options[filter] === undefined || may.includes(filter)) continue;
    const can = [...may.map((name) => `--${name}`), '--from, --to, --last'].join(', ');
    throw wrong(`${told} cannot be filtered by --${filter}; it can be by ${can}`);
  }
  const subjects = (options.subject ?? []).map(subjectOf);
  return {
    task,
    trucks: options.truck ?? null,
    wanted: {
      subject: subjects.length === 0 ? null : (subject) => subjects.some((one) => isWithin(subject, one)),
      quantities: options.quantity ?? null,
      rules: options.rule?.map(ruleOf) ?? null,
      urgencies: options.urgency === undefined ? null : atLeast(options.urgency),
    },
    subjects,
    ...spanOf(options),
    everyMs: options.every === undefined ? null : everyOf(task, options.every),
  };
}

function taskOf(what: string | undefined, { format, out, events, report }: HistoryOptions): Task {
  const special = events !== undefined ? '--events' : report !== undefined ? '--report' : null;
  if (events !== undefined && report !== undefined) throw wrong('--events and --report: one of them at a time');
  if (special !== null) {
    const other = what ?? (format === undefined ? (out === undefined ? null : '--out') : '--format');
    if (other !== null) throw wrong(`${special} stands for itself: leave ${other} out`);
    if (report !== undefined) return { kind: 'report', out: report };
    return { kind: 'events', out: events === '-' ? null : events! };
  }
  const told = what ?? 'alerts';
  if (!isOneOf(WHATS, told)) throw wrong(`history ${told}: there are ${WHATS.join(', ')}`);
  const form = format ?? 'table';
  if (!isOneOf(FORMATS, form)) throw wrong(`--format ${form}: write ${FORMATS.slice(0, -1).join(', ')} or ndjson`);
  return { kind: 'rows', what: told, format: form, out: out === '-' ? null : (out ?? null) };
}

function isOneOf<T extends string>(all: readonly T[], text: string): text is T {
  return (all as readonly string[]).includes(text);
}

/** Is the subject that one, or part of it: tractor/2/left has tractor/2/left/outer? */
export const isWithin = (subject: string, whole: string): boolean =>
  subject === whole || subject.startsWith(`${whole}/`);

function subjectOf(text: string): string {
  const trimmed = text.trim().replace(/\/+$/, '');
  if (trimmed !== '' && !/[\s*?]/.test(trimmed)) return trimmed;
  throw wrong(`--subject "${text}": write it as events do, for example tractor/2/left; that means all that is in it`);
}

function ruleOf(text: string): RuleName {
  if (isOneOf(RULE_NAMES, text)) return text;
  const near = RULE_NAMES.filter((name) => name.includes(text) || text.includes(name.split('-')[0]!));
  const names = near.length === 0 ? RULE_NAMES : near;
  throw wrong(`--rule ${text}: no such rule; there ${names.length === 1 ? 'is' : 'are'} ${names.join(', ')}`);
}

function atLeast(text: string): readonly Urgency[] {
  if (!isOneOf(URGENCIES, text)) throw wrong(`--urgency ${text}: write ${URGENCIES.join(', ')}`);
  return URGENCIES.slice(URGENCIES.indexOf(text));
}

const DAY_MS = 86_400_000;
const YEAR_S = 31_557_600;

function spanOf({ from, to, last }: HistoryOptions): Pick<HistorySettings, 'span' | 'lastMs'> {
  if (from !== undefined && last !== undefined) throw wrong('--from and --last: one of them at a time');
  const span: Span = {
    fromMs: from === undefined ? null : wallOf('--from', from, 'begin'),
    toMs: to === undefined ? null : wallOf('--to', to, 'end'),
  };
  if (span.fromMs !== null && span.toMs !== null && span.fromMs >= span.toMs)
    throw wrong(`--from ${from} --to ${to}: the end is not after the begin`);
  if (last === undefined) return { span, lastMs: null };
  const { value: seconds } = parseQuantity(last, 'duration', { low: 1, high: 100 * YEAR_S });
  if (seconds === undefined) throw wrong(`--last ${last}: write for example 12h, 90min or 7d`);
  return { span, lastMs: seconds * 1000 };
}

const MINUTE_S = 60;

function everyOf(task: Task, every: string): number {
  if (task.kind !== 'rows' || task.what !== 'readings')
    throw wrong(`--every ${every}: is of readings: write history readings --every ${every}`);
  const { value: seconds } = parseQuantity(every, 'duration', { low: MINUTE_S, high: YEAR_S });
  if (seconds === undefined || seconds % MINUTE_S !== 0)
    throw wrong(`--every ${every}: write whole minutes, up to a year, for example 10min, 1h or 1d`);
  return seconds * 1000;
}

/** `2026-03-02` (all of that day), `2026-03-02T14:03`, with seconds, with Z or an offset; UTC where it has none. */
export function wallOf(option: string, text: string, edge: 'begin' | 'end'): WallMs {
  const day = /^\d{4}-\d{2}-\d{2}$/.test(text);
  const match = /^(\d{4}-\d{2}-\d{2})[T ](\d{2}:\d{2}(?::\d{2}(?:\.\d{1,3})?)?)(Z|[+-]\d{2}:\d{2})?$/.exec(text);
  const iso = day ? `${text}T00:00Z` : match === null ? '' : `${match[1]}T${match[2]}${match[3] ?? 'Z'}`;
  const ms = Date.parse(iso);
  // A 30th of February is taken for a day in March.
  const isReal = !Number.isNaN(ms) && isDay(iso.slice(0, 10));
  if (!isReal) throw wrong(`${option} ${text}: write a date or a time in UTC, 2026-03-02 or 2026-03-02T14:03`);
  return day && edge === 'end' ? ms + DAY_MS : ms;
}

function isDay(date: string): boolean {
  const ms = Date.parse(`${date}T00:00Z`);
  return !Number.isNaN(ms) && new Date(ms).toISOString().startsWith(date);
}

/** SI, where no truck file says otherwise. */
export const SI_SHOW: TruckConfig['show'] = { pressure: 'kPa', temperature: '°C', position: 'exact' };
