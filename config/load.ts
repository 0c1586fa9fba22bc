import { readFileSync, statSync } from 'node:fs';
import { checkBuses, gaugesOf, positionsOf, unitsOf } from './crosscheck.js';
import { loadDefaults } from './defaults.js';
import { findings as findingsOf, unknownKey, without } from './findings.js';
import { configHash } from './hash.js';
import type { Finding, Problem } from './problems.js';
import { RULE_NAMES, type RuleConfig, type RuleName, type TruckConfig } from './resolved.js';
import { type Defaults, mergeRule } from './rules.js';
import { EXAMPLES, REQUIRED, SECTIONS, type SectionName, type TruckFile } from './schema.js';
import { signalsOf } from './signals.js';
import { parseSource, type Source } from './source.js';

export { loadDefaults } from './defaults.js';
export type { Problem } from './problems.js';

/** Notes do not keep a truck file from being used. Problems do; all that can be told are listed, in file order. */
export type LoadResult =
  | { config: TruckConfig; notes: Problem[]; problems?: never }
  | { config?: never; notes?: never; problems: Problem[] };

/** A truck file is a few kilobytes. */
const MAX_FILE_BYTES = 1_000_000;
const MAX_PROBLEMS = 100;

const COLD_REFERENCE_C = 18;
const STORE_BYTES = 256e6;
const KEEP_S = 90 * 86_400;
const RECORDER_BYTES = 256e6;

/** Reads and checks a truck file. Never throws for what is in the file or for a file that cannot be read. */
export function loadTruckFile(path: string): LoadResult {
  const problem = (text: string, hint: string): LoadResult => ({
    problems: [{ file: path, line: 1, column: 1, text, hint }],
  });
  try {
    const { size } = statSync(path);
    if (size > MAX_FILE_BYTES) return problem(`${size} bytes are too long for a truck file`, 'is this the right file?');
    return readTruckFile(readFileSync(path, 'utf8'), path);
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    if (code === undefined) throw error;
    return problem(`cannot be read: ${READ_ERRORS[code] ?? code}`, 'check the path');
  }
}

const READ_ERRORS: Record<string, string> = {
  ENOENT: 'no such file',
  EACCES: 'permission denied',
  EISDIR: 'it is a directory',
  ENOTDIR: 'part of the path is not a directory',
};

/** As loadTruckFile, for text that is at hand. `file` is only named in problems. */
export function readTruckFile(text: string, file: string, defaults: Defaults = loadDefaults()): LoadResult {
  const source = parseSource(text, file);
  const found: Finding[] = [];
  const notes: Finding[] = [];
  let config: TruckConfig | null = null;
  if (isMap(source.tree)) {
    const sections = parseSections(source.tree, found);
    config = resolve(sections, defaults, found, notes);
  } else if (source.problems.length === 0) {
    const what = text.trim() === '' ? 'the file is empty' : 'this is not a truck file';
    found.push({ path: [], text: what, hint: `it begins for example with \`${EXAMPLES.fleet}\`` });
  }
  const problems = ordered([...source.problems, ...located(source, found)]);
  if (problems.length > 0 || config === null) return { problems: problems.slice(0, MAX_PROBLEMS) };
  return { config, notes: ordered(located(source, notes)) };
}

const isMap = (tree: unknown): tree is Record<string, unknown> =>
  typeof tree === 'object' && tree !== null && !Array.isArray(tree);

const located = (source: Source, found: readonly Finding[]): Problem[] =>
  found.map((finding) => source.locate(finding));

const ordered = (problems: Problem[]): Problem[] => problems.sort((a, b) => a.line - b.line || a.column - b.column);

function parseSections(tree: Record<string, unknown>, found: Finding[]): TruckFile {
  const names = Object.keys(SECTIONS) as SectionName[];
  const known = new Set<string>(names);
  for (const key of Object.keys(tree)) if (!known.has(key)) found.push(unknownKey([key], names));
  const sections: Record<string, unknown> = {};
  for (const name of names) {
    if (tree[name] === undefined) {
      if (REQUIRED.includes(name)) {
        found.push({ path: [], text: `"${name}" is missing`, hint: `add for example \`${EXAMPLES[name]}\`` });
      }
      continue;
    }
    const parsed = SECTIONS[name].safeParse(tree[name]);
    if (parsed.success) {
      sections[name] = inWrittenOrder(parsed.data, tree[name]);
      continue;
    }
    found.push(...findingsOf(parsed.error.issues, [name], tree[name]));
    sections[name] = inWrittenOrder(
      SECTIONS[name].safeParse(without(tree[name], parsed.error.issues)).data,
      tree[name],
    );
  }
  return sections as TruckFile;
}

/** The schema puts keys into its own order; that of units in the layout means something: front to rear. */
function inWrittenOrder(data: unknown, written: unknown): unknown {
  if (!isMap(data) || !isMap(written)) return data;
  return Object.fromEntries(Object.keys(written).flatMap((key) => (key in data ? [[key, data[key]]] : [])));
}

/** Air pressure at an altitude in the ISO 2533 standard atmosphere, kPa to three places (the same on every machine). */
export function standardAirKpa(altitudeM: number): number {
  return Math.round(101.325 * (1 - 2.25577e-5 * altitudeM) ** 5.25588 * 1000) / 1000;
}

/** Everything together; null when a section without which nothing can be said has findings. */
function resolve(file: TruckFile, defaults: Defaults, found: Finding[], notes: Finding[]): TruckConfig | null {
  const buses = file.buses?.map((bus) => ({ ...bus, acknowledge: bus.acknowledge ?? false }));
  if (buses !== undefined) checkBuses(buses, found);
  const units = file.layout === undefined ? undefined : unitsOf(file.layout, found, notes);
  const rules = mergeRules(file.rules, defaults, found);
  checkBroker(file.mqtt, found);
  if (units === undefined || buses === undefined) return null;
  const names = buses.map((bus) => bus.name);
  const tirePositions = positionsOf(file.tirePositions ?? {}, units, names, found);
  const fixedGaugeSources = gaugesOf(file.gauge ?? {}, names, found);
  const signals = signalsOf(file.signals ?? [], units, names, found);
  if (file.fleet === undefined || file.truck === undefined) return null;
  const { show, mqtt, store, recorder } = file;
  const config: Omit<TruckConfig, 'hash'> = {
    fleet: file.fleet,
    truck: file.truck,
    vehicle: file.vehicle ?? 'truck',
    ...{ buses, units, tirePositions, fixedGaugeSources, signals, rules },
    coldReferenceC: file.coldReference ?? COLD_REFERENCE_C,
    depotAirKpa: standardAirKpa(file.depotAltitude ?? 0),
    show: {
      pressure: show?.pressure ?? 'kPa',
      temperature: show?.temperature ?? '°C',
      position: show?.position ?? 'exact',
    },
    // Until the office answers, the broker's word has to do.
    mqtt:
      mqtt === undefined
        ? null
        : {
            url: mqtt.url,
            confirm: mqtt.confirm ?? 'broker',
            user: null,
            password: null,
            ca: null,
            cert: null,
            key: null,
          },
    store:
      store === undefined
        ? null
        : { path: store.path, maxBytes: store.maxSize ?? STORE_BYTES, keepMs: (store.keep ?? KEEP_S) * 1000 },
    recorder: recorder === undefined ? null : { path: recorder.path, maxBytes: recorder.maxSize ?? RECORDER_BYTES },
    health: null,
    clock: { trust: false },
    marks: [],
  };
  return { ...config, hash: configHash(config) };
}

function mergeRules(written: TruckFile['rules'], defaults: Defaults, found: Finding[]): Record<RuleName, RuleConfig> {
  const rules = {} as Record<RuleName, RuleConfig>;
  for (const name of RULE_NAMES)
    rules[name] = mergeRule(defaults[name], name, written?.[name] ?? {}, ['rules', name], found);
  return rules;
}

const BROKER = /^(mqtts?|wss?):$/;

function checkBroker(mqtt: TruckFile['mqtt'], found: Finding[]): void {
  if (mqtt === undefined) return;
  if (URL.canParse(mqtt.url)) {
    const url = new URL(mqtt.url);
    if (BROKER.test(url.protocol) && url.hostname !== '') return;
  }
  const hint = `write for example \`${EXAMPLES.url}\` (mqtt, mqtts, ws or wss)`;
  found.push({ path: ['mqtt', 'url'], text: `"${mqtt.url}" is not the address of a broker`, hint });
}
