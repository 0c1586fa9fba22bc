import { clockOf } from './expect.js';

/** A canonical event as it stands in a file; what is compared here may be missing or of any kind in a file that a person made. */
export type CanonicalEvent = Readonly<Record<string, unknown>>;

type Tree = Readonly<Record<string, unknown>>;

const isTree = (value: unknown): value is Tree => value !== null && typeof value === 'object' && !Array.isArray(value);
const same = (a: unknown, b: unknown): boolean => JSON.stringify(a) === JSON.stringify(b);
const plain = (value: unknown): string => (typeof value === 'string' ? value : (JSON.stringify(value) ?? 'none'));
const clock = (t: unknown): string => (typeof t === 'number' ? clockOf(t) : plain(t));

/** How the difference of one key is told: what came, then what was expected. */
type Words = (got: unknown, expected: unknown) => string;

const byName =
  (name: string, show = plain): Words =>
  (got, expected) =>
    `${name} ${show(got)}, expected ${show(expected)}`;

/** What is told first where several differ: what was measured, then what is said of the alert, then what surrounds it. */
const KEYS: Readonly<Record<string, { name: string; words: Words }>> = {
  measured: { name: 'measured', words: measured },
  was: { name: 'urgency before', words: byName('urgency before:') },
  reason: { name: 'reason', words: byName('reason') },
  since: { name: 'since', words: byName('since', clock) },
  trailer: { name: 'trailer', words: byName('trailer') },
  cause: { name: 'cause', words: cause },
  alert: { name: 'alert', words: () => 'part of another alert than expected' },
  who: { name: 'who', words: byName('by') },
  note: { name: 'note', words: byName('note') },
  snoozeS: { name: 'snooze', words: byName('snoozed for', (s) => `${plain(s)} s`) },
  forecast: { name: 'forecast', words: forecast },
  evidence: { name: 'evidence', words: evidence },
  vehicle: { name: 'vehicle', words: vehicle },
};

/** Those by which events are matched: that they differ is told otherwise. */
const MATCHED = new Set(['rule', 'subject', 'change', 'urgency', 'at']);

/**
 * What differs in two events that are the same by rule, subject and change, in the words of what differs; SI, as in the file.
 * null: nothing. The first difference is told, of the others their names.
 */
export function otherNumbers(expected: CanonicalEvent, got: CanonicalEvent): string | null {
  const known = Object.keys(KEYS);
  const others = [...new Set([...Object.keys(expected), ...Object.keys(got)])].filter((key) => !known.includes(key));
  const differ = [...known, ...others].filter((key) => !MATCHED.has(key) && !same(expected[key], got[key]));
  const [first, ...more] = differ;
  if (first === undefined) return null;
  const words = (KEYS[first]?.words ?? byName(first))(got[first], expected[first]);
  return more.length === 0 ? words : `${words}; ${more.map((key) => KEYS[key]?.name ?? key).join(', ')} too`;
}

const ORDER = ['value', 'low', 'high', 'limit', 'window', 'quality'];
/** How a bound is called after its quantity. */
const BOUNDS: Readonly<Record<string, string>> = { value: '', low: ' from', high: ' to', limit: ' limit' };

function measured(got: unknown, expected: unknown): string {
  if (!isTree(got) || !isTree(expected) || got.quantity !== expected.quantity || got.unit !== expected.unit)
    return byName('measured', measuredWords)(got, expected);
  if (got.quantity === undefined) return `${measuredWords(got)}, expected ${measuredWords(expected)}`;
  const key = [...ORDER, ...Object.keys(got), ...Object.keys(expected)].find((one) => !same(got[one], expected[one]));
  // The same but for the order of its keys.
  if (key === undefined) return 'measured has its keys in another order';
  const bound = BOUNDS[key];
  if (bound === undefined) return byName(`${plain(got.quantity)} ${key}`)(got[key], expected[key]);
  return `${plain(got.quantity)}${bound} ${plain(got[key])} ${plain(got.unit)}, expected ${plain(expected[key])}`;
}

function measuredWords(m: unknown): string {
  if (!isTree(m)) return m === null || m === undefined ? 'nothing' : plain(m);
  if ('silentS' in m) return `silent for ${plain(m.silentS)} s`;
  if ('code' in m) return `${plain(m.text)} (code ${plain(m.code)}${m.of === undefined ? '' : `, ${plain(m.of)}`})`;
  if ('quantity' in m) return `${plain(m.quantity)} ${plain(m.value)} ${plain(m.unit)}`;
  return plain(m);
}

function cause(got: unknown, expected: unknown): string {
  if (got === null) return 'explained by no alert, expected by one';
  if (expected === null) return 'explained by another alert, expected by none';
  return 'explained by another alert than expected';
}

function forecast(got: unknown, expected: unknown): string {
  if (!isTree(got) || !isTree(expected)) return presence('forecast', got);
  if (got.what !== expected.what) return byName('forecast of')(got.what, expected.what);
  const key = ['at', 'from', 'to'].find((one) => got[one] !== expected[one]);
  if (key === undefined) return byName('forecast')(got, expected);
  const name = `forecast of ${plain(got.what)}${key === 'at' ? ' at' : `, ${key}`}`;
  return byName(name, clock)(got[key], expected[key]);
}

function evidence(got: unknown, expected: unknown): string {
  if (!isTree(got) || !isTree(expected)) return presence('evidence', got);
  for (const key of ['quantity', 'unit'])
    if (got[key] !== expected[key]) return byName('evidence in')(got[key], expected[key]);
  const [points, wanted] = [got.points, expected.points];
  if (!Array.isArray(points) || !Array.isArray(wanted)) return byName('evidence')(points, wanted);
  if (points.length !== wanted.length) return `evidence of ${points.length} points, expected ${wanted.length}`;
  const i = points.findIndex((point, n) => !same(point, wanted[n]));
  const show = (point: unknown): string =>
    Array.isArray(point) ? `${plain(point[1])} at ${clock(point[0])}` : plain(point);
  return byName('evidence', show)(points[i], wanted[i]);
}

const UNITS: Readonly<Record<string, string>> = { speed: ' km/h', lat: '°', lon: '°', age: ' s' };

function vehicle(got: unknown, expected: unknown): string {
  if (!isTree(got) || !isTree(expected)) return presence('vehicle', got);
  const key = [...Object.keys(UNITS), ...Object.keys(got), ...Object.keys(expected)].find(
    (one) => !same(got[one], expected[one]),
  );
  if (key === undefined) return byName('vehicle')(got, expected);
  const show = (value: unknown): string => (value === null ? 'unknown' : `${plain(value)}${UNITS[key] ?? ''}`);
  return byName(`vehicle's ${key}`, show)(got[key], expected[key]);
}

const presence = (name: string, got: unknown): string =>
  got === null || got === undefined ? `no ${name}, expected one` : `${name}, expected none`;
