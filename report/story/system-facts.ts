import { placeOf } from '../../daemon/truck/subjects.js';
import { type Gathered, SERIES_QUANTITIES, type SeriesQuantity } from '../gathered.js';
import { firstAt, type Points, seriesOf } from './kit.js';

/** One series of readings. */
export interface Told {
  subject: string;
  quantity: SeriesQuantity;
  points: Points;
}

/** "engine speed" before "speed". */
const LONGEST_FIRST = [...SERIES_QUANTITIES].sort((a, b) => b.length - a.length);

/** Every series of which readings were kept one by one. */
export function toldOf(gathered: Gathered): Told[] {
  const told: Told[] = [];
  for (const key of gathered.samples.keys()) {
    const quantity = LONGEST_FIRST.find((q) => key.endsWith(` ${q}`));
    if (quantity === undefined || quantity === 'cold pressure') continue;
    const subject = key.slice(0, -quantity.length - 1);
    const points = seriesOf(gathered, subject, quantity);
    if (points !== null && points.low === undefined) told.push({ subject, quantity, points });
  }
  return told;
}

/** What fell silent at an instant, what went on, and when each of the silent ones was heard again. */
export interface Silences {
  silent: (Told & { lastMs: number; nextMs: number | null })[];
  heard: Told[];
}

/** A series that fell silent has its last reading no further from the instant than this, or than its own gaps. ms */
const NEAR_MS = 5_000;

/** @param leastMs what is silent for less is late */
export function silencesAt(gathered: Gathered, atMs: number, leastMs: number): Silences {
  const found: Silences = { silent: [], heard: [] };
  for (const told of toldOf(gathered)) {
    const { atMs: times, gapMs } = told.points;
    const next = firstAt(times, atMs + NEAR_MS);
    const lastMs = times[next - 1];
    const nextMs = times[next] ?? null;
    // One that was silent before has nothing to do with it.
    if (lastMs === undefined || atMs - lastMs > Math.max(NEAR_MS, gapMs)) continue;
    const silentMs = (nextMs ?? Number.POSITIVE_INFINITY) - lastMs;
    if (silentMs > Math.max(leastMs, gapMs)) found.silent.push({ ...told, lastMs, nextMs });
    else found.heard.push(told);
  }
  return found;
}

const QUANTITY_WORDS: Partial<Record<SeriesQuantity, string>> = {
  'stroke state': 'stroke states',
  stroke: 'strokes',
  speed: 'speed',
  'engine speed': 'engine speed',
  'application pressure': 'application pressure',
};

/** Series in words, alike ones together: "stroke states of ten brakes, speed, pressures of 18 tires". */
export function toldWords(told: readonly Told[]): string[] {
  const groups = new Map<string, Told[]>();
  for (const x of told) {
    const parts = x.subject.split('/').length;
    const kind = parts === 4 ? `${x.quantity} tires` : `${x.quantity} ${parts === 3 ? 'brakes' : x.subject}`;
    const group = groups.get(kind);
    if (group === undefined) groups.set(kind, [x]);
    else group.push(x);
  }
  return [...groups.values()].map(groupWords);
}

function groupWords(group: readonly Told[]): string {
  const { subject, quantity } = group[0]!;
  const parts = subject.split('/').length;
  if (parts === 4) {
    const what = quantity === 'temperature' ? 'temperature' : 'pressure';
    return group.length === 1 ? `${what} of ${placeOf(subject)}` : `${what}s of ${group.length} tires`;
  }
  if (parts === 3) {
    const what = QUANTITY_WORDS[quantity] ?? quantity;
    return group.length === 1
      ? `${what.replace(/s$/, '')} of ${placeOf(subject)}`
      : `${what} of ${group.length} brakes`;
  }
  if (quantity === 'pressure') return `${placeOf(subject)} pressure`;
  if (quantity === 'temperature') return 'outside temperature';
  return QUANTITY_WORDS[quantity] ?? quantity;
}
