import { isMap, isScalar, isSeq, LineCounter, parseDocument } from 'yaml';
import { z } from 'zod';
import type { UnitConfig } from '../config/resolved.js';
import { listSubjects } from '../daemon/truck/subjects.js';
import { MODES } from './drive-cycle.js';

/** `h:mm:ss` from the start of the shift; read as seconds. */
const clock = z
  .string()
  .regex(/^\d+:[0-5]\d:[0-5]\d$/, 'expected h:mm:ss')
  .transform((text) => {
    const [h, m, s] = text.split(':').map(Number);
    return h! * 3600 + m! * 60 + s!;
  });
const positive = z.number().positive();
const share = z.number().min(0).max(1.5);

const axle = z.strictObject({
  name: z.string(),
  kind: z.enum(['steer', 'drive', 'lift', 'tag', 'trailer']),
  tires: z.enum(['single', 'dual']),
  coldKpa: positive.max(1000),
});

const period = { from: clock, to: clock };
const fault = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('tire-leak'),
    tire: z.string(),
    /** Each rate holds until the next; kPa/min at 18 °C. The last ends at `to`. */
    phases: z.array(z.strictObject({ from: clock, kpaPerMin: z.number().min(0) })).min(1),
    to: clock,
    /** Somebody mends and fills the tire to this share of its target. */
    refill: z.strictObject({ ...period, share, kpaPerMin: positive }).optional(),
  }),
  z.strictObject({ kind: z.literal('brake-overstroke'), wheelEnd: z.string(), ...period, aboveKpa: positive }),
  z.strictObject({ kind: z.literal('brake-dragging'), wheelEnd: z.string(), ...period, heatKw: positive }),
  z.strictObject({
    kind: z.literal('air-leak'),
    ...period,
    supplyKpaPerMin: z.number().min(0),
    primaryKpaPerMin: z.number().min(0),
    secondaryKpaPerMin: z.number().min(0),
  }),
  z.strictObject({ kind: z.literal('sensor-silent'), tire: z.string(), ...period }),
  z.strictObject({
    kind: z.literal('fault-codes'),
    source: z.number().int().min(0).max(253),
    ...period,
    lamp: z.enum(['none', 'amber', 'red']),
    codes: z
      .array(
        z.strictObject({
          spn: z.number().int().min(1).max(524287),
          fmi: z.number().int().min(0).max(31),
          count: z.number().int().min(0).max(126),
        }),
      )
      .min(1)
      .max(16),
  }),
]);

const schema = z.strictObject({
  name: z.string().regex(/^[A-Za-z0-9_-]{1,40}$/),
  title: z.string(),
  /** Stamp of the first moment. */
  start: z.iso.datetime(),
  seed: z.number().int().min(0).max(4294967295),
  interface: z.string().regex(/^[a-z0-9]{1,15}$/),
  truck: z.strictObject({
    vin: z.string().regex(/^[A-Z0-9]{17}$/),
    odometerKm: z.number().min(0),
    tractor: z.strictObject({ axles: z.array(axle).min(1) }),
    trailer: z.strictObject({ id: z.string().optional(), axles: z.array(axle).min(1) }).optional(),
  }),
  weather: z.strictObject({
    /** At the start and at the end; a straight line between. */
    ambientC: z.tuple([z.number(), z.number()]),
    outsideKpa: z.tuple([z.number().min(50).max(110), z.number().min(50).max(110)]),
  }),
  /** Pressure of the two service circuits after the night, kPa. */
  air: z.strictObject({ primaryKpa: z.number().min(0).max(900), secondaryKpa: z.number().min(0).max(900) }),
  /** Corners of the road, [latitude, longitude] in degrees. */
  route: z.array(z.tuple([z.number(), z.number()])).min(2),
  drive: z.array(z.strictObject({ mode: z.enum(MODES), until: clock, idleRpm: positive.optional() })).min(1),
  faults: z.array(fault).default([]),
  /** Frames per second of groups sent more slowly than the standard says, to keep a log small. */
  thin: z
    .strictObject({
      driving: z.record(z.string(), positive.max(50)).default({}),
      parked: z.record(z.string(), positive.max(50)).default({}),
    })
    .prefault({}),
});

export type Fault = z.infer<typeof fault>;
/** A shift of an invented truck: SI units, times in seconds from the start. */
export type Scenario = Omit<z.infer<typeof schema>, 'truck'> & {
  truck: { vin: string; odometerKm: number; units: UnitConfig[] };
  durationS: number;
};

/** The scenario file is wrong; the message is one line that names file, line and what to do. */
export class ScenarioError extends Error {}

/** Reads a scenario file's text. file: its name, for the message. Throws ScenarioError. */
export function parseScenario(text: string, file: string): Scenario {
  const lines = new LineCounter();
  const document = parseDocument(text, { lineCounter: lines });
  const broken = document.errors[0];
  if (broken) throw new ScenarioError(`${file}: ${broken.message.split('\n')[0]}`);
  const parsed = schema.safeParse(document.toJS());
  if (!parsed.success) {
    const { issues } = parsed.error;
    // A misspelt key also leaves its right spelling missing: the first helps more.
    const issue = issues.find(({ code }) => code === 'unrecognized_keys') ?? issues[0]!;
    const at = lineOf(document.contents, issue.path, lines);
    throw new ScenarioError(`${file}:${at}: ${issue.path.join('.') || 'scenario'}: ${issue.message}`);
  }
  const { truck, ...rest } = parsed.data;
  const units = [unit('tractor', null, truck.tractor.axles)];
  if (truck.trailer) units.push(unit('trailer', truck.trailer.id ?? null, truck.trailer.axles));
  const durationS = rest.drive.at(-1)!.until;
  const scenario = { ...rest, truck: { vin: truck.vin, odometerKm: truck.odometerKm, units }, durationS };
  const wrong = inconsistency(scenario);
  if (wrong) throw new ScenarioError(`${file}: ${wrong}`);
  return scenario;
}

function unit(name: string, id: string | null, axles: z.infer<typeof axle>[]): UnitConfig {
  return {
    unit: name,
    id,
    axles: axles.map((a) => ({
      name: a.name,
      kind: a.kind,
      tires: a.tires,
      coldPressureKpa: a.coldKpa,
      chamber: null,
    })),
  };
}

function inconsistency(scenario: Scenario): string | null {
  let before = 0;
  for (const leg of scenario.drive) {
    if (leg.until <= before) return `drive: leg "${leg.mode}" ends at ${leg.until} s, not after the one before it`;
    before = leg.until;
  }
  const { tires, wheelEnds } = listSubjects(scenario.truck.units);
  for (const f of scenario.faults) {
    if ('tire' in f && !tires.some((t) => t.subject === f.tire)) return `faults: the truck has no tire "${f.tire}"`;
    if ('wheelEnd' in f && !wheelEnds.some((w) => w.subject === f.wheelEnd)) {
      return `faults: the truck has no wheel end "${f.wheelEnd}"`;
    }
    if ('from' in f && f.from >= f.to) return `faults: ${f.kind} ends before it begins`;
  }
  return null;
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
