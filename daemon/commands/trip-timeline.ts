import type { TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { isoTime } from '../alerts/iso-time.js';
import { roundedTo } from '../alerts/rounding.js';
import type { TripRecord } from '../effects.js';
import type { StartCheck } from '../truck/start-check.js';
import { placeOf } from '../truck/subjects.js';
import type { TripSummary } from '../truck/trip-summary.js';
import type { TripsTold } from './session.js';
import { type TimelineStyle, timelineBlock } from './timeline.js';

type Show = TruckConfig['show'];

const STROKE_WORDS: Record<number, string> = { 1: 'non-functioning', 2: 'over-stroke', 3: 'dragging' };
/** Named one by one; of more only the number is told. */
const MOST_NAMED = 4;

/** Start checks and ended trips as a person reads them, each beside its moment. */
export function tripEntries({ checks, trip, run }: TripsTold, show: Show, style: TimelineStyle): string[] {
  const entry = (t: number, change: string, texts: string[]): string =>
    timelineBlock({ time: isoTime(run.zeroWallMs + t).slice(11, 19), word: 'TRIP', change }, texts, style);
  const entries = checks.map(({ endAt, values }) => entry(endAt, 'start', checkTexts(values, show)));
  return trip === null ? entries : [...entries, entry(trip.endAt, 'end', tripTexts(trip, show))];
}

/** Tires, brakes and air, each in one sentence; what was not seen is said to be so. */
export function checkTexts({ tires, brakes, air }: StartCheck, show: Show): string[] {
  return [tiresSeen(tires, show), brakesSeen(brakes), airSeen(air, show)];
}

function tiresSeen(tires: StartCheck['tires'], show: Show): string {
  const known = Object.entries(tires).flatMap(([subject, { share, coldKpa, targetKpa }]) =>
    share === null || coldKpa === null || targetKpa === null ? [] : [{ subject, share, coldKpa, targetKpa }],
  );
  const of = Object.keys(tires).length;
  if (known.length === 0) return `tires: none of ${of} is known against its target`;
  const low = known.reduce((a, b) => (b.share < a.share ? b : a));
  const high = known.reduce((a, b) => (b.share > a.share ? b : a));
  const lowest = `lowest ${placeOf(low.subject)} ${shown(low.coldKpa, 'kPa', show)} of ${shown(low.targetKpa, 'kPa', show)} cold`;
  const range = [low, high].map((x) => shown(x.share, 'share', show)).join(' to ');
  return `tires: ${known.length} of ${of} known, ${range} of target, ${lowest}`;
}

function brakesSeen({ applications, wheels }: StartCheck['brakes']): string {
  const told = Object.entries(wheels).filter(([, x]) => x.applied !== null || x.strokeMm !== null);
  if (applications === 0 || told.length === 0) return 'brakes: nothing was seen of them';
  const odd = Object.entries(wheels).flatMap(([subject, { applied, released }]) => {
    // A brake that drags does so released; the others show while applied.
    const words = new Set([STROKE_WORDS[applied ?? 0], STROKE_WORDS[released === 3 ? 3 : 0]]);
    words.delete(undefined);
    return words.size === 0 ? [] : [`${placeOf(subject)} ${[...words].join(' and ')}`];
  });
  const found = odd.length === 0 ? ', none of them a fault' : `: ${named(odd)}`;
  return `brakes: ${told.length} told in ${applications} ${applications === 1 ? 'application' : 'applications'}${found}`;
}

function airSeen({ startKpa, lowAirS, buildUp, leakTests }: StartCheck['air'], show: Show): string {
  if (startKpa === null) return 'air: not heard';
  const texts = [`${shown(startKpa, 'kPa', show)} at the start`];
  if (lowAirS !== null) texts.push(`past the low-air limit after ${lowAirS} s`);
  if (buildUp !== null) texts.push(`${shown(586, 'kPa', show)} to ${shown(689, 'kPa', show)} in ${buildUp.seconds} s`);
  for (const { state, circuit, kpaPerMin, limit } of leakTests) {
    const [rate, most] = [kpaPerMin, limit].map((x) => shown(x, 'kPa/min', show));
    texts.push(`leak test of ${placeOf(circuit)}, brakes ${state}: ${rate} (limit ${most})`);
  }
  return `air: ${texts.join(', ')}`;
}

/** Way and time, what the truck did, what was not heard. */
export function tripTexts({ distanceKm, alerts, gapS, summary }: TripRecord, show: Show): string[] {
  const way = distanceKm === null ? 'distance not known' : `${roundedTo('km', distanceKm)} km`;
  const raised = `${alerts} ${alerts === 1 ? 'alert' : 'alerts'}`;
  if (summary === null) return [`${way}, ${raised}`];
  const by = summary.distanceFrom === 'speed' ? ' by speed' : '';
  const head = `${way}${by} in ${clock(summary.durationS)}, ${clock(summary.movingS)} of it moving, ${raised}`;
  return [head, did(summary, show), missed(summary, gapS)].filter((text) => text !== '');
}

function did(s: TripSummary, show: Show): string {
  const { count, hardestKpa } = s.applications;
  const hardest = hardestKpa === null ? '' : `, hardest ${shown(hardestKpa, 'kPa', show)}`;
  const texts = [`${count} brake ${count === 1 ? 'application' : 'applications'}${hardest}`];
  if (s.hottestTire !== null) {
    const { subject, celsius } = s.hottestTire;
    texts.push(`hottest tire ${shown(celsius, '°C', show)}, ${placeOf(subject)}`);
  }
  const { primaryKpa, secondaryKpa } = s.lowestAir;
  const lowest = [primaryKpa, secondaryKpa].flatMap((kpa) => (kpa === null ? [] : [kpa]));
  if (lowest.length > 0) texts.push(`lowest air ${shown(Math.min(...lowest), 'kPa', show)}`);
  if (s.compressor !== null) texts.push(`compressor ${shown(s.compressor.share, 'share', show)} of the time`);
  return texts.join(', ');
}

function missed({ silent }: TripSummary, gapS: number): string {
  const texts = silent.map(({ subject, seconds }) => `${placeOf(subject)} ${clock(seconds)}`);
  if (gapS >= 60) texts.unshift(`the whole bus ${clock(gapS)}`);
  return texts.length === 0 ? '' : `not heard: ${named(texts)}`;
}

function named(texts: string[]): string {
  const more = texts.length - MOST_NAMED;
  return more > 0 ? `${texts.slice(0, MOST_NAMED).join('; ')}; and ${more} more` : texts.join('; ');
}

/** Hours and minutes. */
function clock(seconds: number): string {
  const minutes = Math.round(seconds / 60);
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, '0')} h`;
}
