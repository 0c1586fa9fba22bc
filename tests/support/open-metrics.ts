/*
 * A strict reader of the part of OpenMetrics 1.0 that gauges and counters need: the ABNF and the rules of
 * "OpenMetrics, a cloud-native, highly scalable metrics protocol", sections "Text Format" and "MetricFamily"
 * (draft-richih-opsawg-openmetrics-00). Written from the text, with nothing of the program.
 */

export interface Family {
  type: string;
  help: string | null;
  samples: { name: string; labels: Record<string, string>; value: number }[];
}

const NAME = '[a-zA-Z_:][a-zA-Z0-9_:]*';
const LABEL = String.raw`([a-zA-Z_][a-zA-Z0-9_]*)="((?:[^"\\\n]|\\[\\"n])*)"`;
const NUMBER = String.raw`[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?|[+-]?[Ii]nf(?:inity)?|[Nn]a[Nn]`;
const DESCRIPTOR = new RegExp(`^# (TYPE|HELP|UNIT) (${NAME}) (.*)$`);
const SAMPLE = new RegExp(`^(${NAME})(?:\\{(${LABEL}(?:,${LABEL})*)?\\})? (${NUMBER})$`);
const TYPES = ['gauge', 'counter', 'stateset', 'unknown', 'info', 'histogram', 'gaugehistogram', 'summary'];

/** Throws with the line that is wrong. */
export function readOpenMetrics(text: string): Map<string, Family> {
  if (!text.endsWith('# EOF\n')) throw new Error('does not end with "# EOF" and a line end');
  const lines = text.slice(0, -1).split('\n').slice(0, -1);
  const families = new Map<string, Family>();
  const seen = new Set<string>();
  let current = '';
  for (const line of lines) {
    const fail = (why: string): never => {
      throw new Error(`${why}: ${line}`);
    };
    if (line.startsWith('#')) {
      const [, what, name, rest] = DESCRIPTOR.exec(line) ?? fail('no descriptor');
      if (name !== current) {
        if (families.has(name!)) fail('a family comes in two pieces');
        families.set(name!, { type: 'unknown', help: null, samples: [] });
        current = name!;
      }
      describe(families.get(name!)!, what!, rest!, fail);
      continue;
    }
    const [, name, labels = ''] = SAMPLE.exec(line) ?? fail('no sample');
    const family = families.get(current) ?? fail('a sample before its family');
    const value = Number(line.slice(line.lastIndexOf(' ') + 1));
    check(family, current, name!, value, fail);
    const pairs = [...labels.matchAll(new RegExp(LABEL, 'g'))].map(([, key, of]): [string, string] => [key!, of!]);
    if (new Set(pairs.map(([key]) => key)).size !== pairs.length) fail('a label twice');
    const series = `${name} ${JSON.stringify([...pairs].sort())}`;
    if (seen.has(series)) fail('a sample twice');
    seen.add(series);
    family.samples.push({ name: name!, labels: Object.fromEntries(pairs), value });
  }
  clashes(families);
  return families;
}

type Fail = (why: string) => never;

function describe(family: Family, what: string, rest: string, fail: Fail): void {
  if (family.samples.length > 0) fail('a descriptor after samples');
  if (what === 'TYPE') {
    if (!TYPES.includes(rest)) fail('no such type');
    family.type = rest;
  }
  if (what === 'HELP') {
    if (family.help !== null) fail('help twice');
    if (!/^(?:[^"\\]|\\[\\"n])*$/.test(rest)) fail('escaping of help');
    family.help = rest;
  }
}

function check(family: Family, name: string, sample: string, value: number, fail: Fail): void {
  if (Number.isNaN(value)) fail('no number');
  if (family.type === 'counter') {
    if (sample !== `${name}_total`) fail('a counter ends with _total');
    if (value < 0) fail('a counter is not negative');
  } else if (sample !== name) fail('a gauge is named as its family');
}

/** The name of a family must not be what a sample of another could be called. */
function clashes(families: Map<string, Family>): void {
  for (const [name, { type }] of families) {
    const possible = type === 'counter' ? [`${name}_total`, `${name}_created`] : [];
    const clash = possible.find((one) => families.has(one));
    if (clash !== undefined) throw new Error(`${clash} is a family and a sample of ${name}`);
  }
}
