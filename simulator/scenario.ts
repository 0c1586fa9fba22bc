import { isMap, isScalar, isSeq, LineCounter, parseDocument } from 'yaml';
import type { z } from 'zod';
import type { UnitConfig } from '../config/resolved.js';
import { listSubjects } from '../daemon/truck/subjects.js';
import { isDriving } from './drive-cycle.js';
import { type ScenarioFile, schema } from './scenario-schema.js';

export type { Fault, FaultKind, ScenarioEvent } from './fault-schema.js';
export type { ScenarioFile } from './scenario-schema.js';

type Parsed = z.infer<typeof schema>;
type Axle = Parsed['truck']['tractor']['axles'][number];

/** A shift of an invented truck: SI units, times in seconds from the start. */
export type Scenario = Omit<Parsed, 'truck'> & {
  truck: Omit<Parsed['truck'], 'tractor' | 'trailer'> & { units: UnitConfig[] };
  durationS: number;
};

/** The scenario file is wrong; the message is one line that names file, line and what to do. */
export class ScenarioError extends Error {}

/** Reads a scenario file's text. file: its name, for the message. Throws ScenarioError with one line per problem. */
export function parseScenario(text: string, file: string): Scenario {
  const lines = new LineCounter();
  const document = parseDocument(text, { lineCounter: lines });
  const broken = document.errors[0];
  if (broken) throw new ScenarioError(`${file}: ${broken.message.split('\n')[0]}`);
  return read(document.toJS(), file, (path) => `:${lineOf(document.contents, path, lines)}`);
}

/** A scenario that was made and not written. Throws ScenarioError. */
export function scenarioOf(given: ScenarioFile): Scenario {
  return read(given, given.name, () => '');
}

function read(given: unknown, file: string, line: (path: readonly PropertyKey[]) => string): Scenario {
  const parsed = schema.safeParse(given);
  if (!parsed.success) throw new ScenarioError(problemsOf(parsed.error, file, line));
  const { truck, ...rest } = parsed.data;
  const { tractor, trailer, ...whole } = truck;
  const units = [unit('tractor', null, tractor.axles)];
  if (trailer) units.push(unit('trailer', trailer.id ?? null, trailer.axles));
  const durationS = rest.drive.at(-1)!.until;
  const scenario: Scenario = { ...rest, truck: { ...whole, units }, durationS };
  const wrong = inconsistencies(scenario).map(([path, words]) => `${file}${line(path)}: ${words}`);
  if (wrong.length > 0) throw new ScenarioError(wrong.join('\n'));
  return scenario;
}

const MOST_PROBLEMS = 20;

function problemsOf(error: z.ZodError, file: string, line: (path: readonly PropertyKey[]) => string): string {
  // A misspelt key also leaves its right spelling missing: the first helps more.
  const unknown = error.issues.filter(({ code }) => code === 'unrecognized_keys');
  const issues = unknown.length > 0 ? unknown : error.issues;
  return issues
    .slice(0, MOST_PROBLEMS)
    .map(({ path, message }) => `${file}${line(path)}: ${path.join('.') || 'scenario'}: ${message}`)
    .join('\n');
}

/** What is usual where a scenario says nothing: type 20 steering, type 30 elsewhere, standard stroke. */
const USUAL = { steer: { type: '20', ratedStrokeMm: 57.15 }, other: { type: '30', ratedStrokeMm: 63.5 } };

function unit(name: string, id: string | null, axles: Axle[]): UnitConfig {
  return {
    unit: name,
    id,
    axles: axles.map((a) => ({
      name: a.name,
      kind: a.kind,
      tires: a.tires,
      coldPressureKpa: a.coldKpa,
      chamber: a.chamber ?? (a.kind === 'steer' ? USUAL.steer : USUAL.other),
    })),
  };
}

type Wrong = [path: PropertyKey[], words: string];

function inconsistencies(scenario: Scenario): Wrong[] {
  const wrong: Wrong[] = [];
  let before = 0;
  scenario.drive.forEach((leg, i) => {
    if (leg.until <= before)
      wrong.push([['drive', i], `drive: leg "${leg.mode}" ends at ${leg.until} s, not after the one before it`]);
    before = leg.until;
    const last = scenario.drive[i - 1];
    if (last && isDriving(last.mode) && (leg.mode === 'off' || leg.mode === 'key'))
      wrong.push([
        ['drive', i],
        `drive: "${leg.mode}" follows "${last.mode}"; put an idle leg between, for the truck to stop`,
      ]);
  });
  const { tires, wheelEnds } = listSubjects(scenario.truck.units);
  const known = { tire: new Set(tires.map((t) => t.subject)), wheelEnd: new Set(wheelEnds.map((w) => w.subject)) };
  for (const tire of Object.keys(scenario.tires.each))
    if (!known.tire.has(tire)) wrong.push([['tires', 'each', tire], `tires: the truck has no tire "${tire}"`]);
  scenario.faults.forEach((f, i) => {
    if ('tire' in f && !known.tire.has(f.tire))
      wrong.push([['faults', i], `faults: the truck has no tire "${f.tire}"`]);
    if ('wheelEnd' in f && !known.wheelEnd.has(f.wheelEnd))
      wrong.push([['faults', i], `faults: the truck has no wheel end "${f.wheelEnd}"`]);
    if ('from' in f && f.from >= f.to) wrong.push([['faults', i], `faults: ${f.kind} ends before it begins`]);
  });
  scenario.events.forEach((e, i) => {
    const named = 'tires' in e ? e.tires : 'tire' in e ? [e.tire] : [];
    for (const tire of named)
      if (!known.tire.has(tire)) wrong.push([['events', i], `events: the truck has no tire "${tire}"`]);
    if (e.kind.startsWith('trailer') && scenario.truck.units.length < 2)
      wrong.push([['events', i], `events: ${e.kind}: the truck has no trailer`]);
  });
  return wrong;
}

/** Line of the deepest part of the path that stands in the file. */
function lineOf(node: unknown, path: readonly PropertyKey[], lines: LineCounter): number {
  let found = 0;
  for (const key of [...path, null]) {
    const range = (node as { range?: [number, number, number] | null } | null)?.range;
    if (range) found = range[0];
    if (key === null) break;
    if (isMap(node)) node = node.items.find((item) => isScalar(item.key) && item.key.value === key)?.value;
    else if (isSeq(node)) node = node.items[key as number];
    else break;
  }
  return lines.linePos(found).line;
}
