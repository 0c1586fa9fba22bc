import { locationTable } from '../../config/positions.js';
import type { AxleConfig, TruckConfig, UnitConfig } from '../../config/resolved.js';
import { trailerOf } from '../j1939/name.js';
import { listSubjects } from '../truck/subjects.js';
import { isFitted, STROKE_FIELDS, type StrokesSeen } from './strokes-seen.js';
import { hasPressure, type LocationSeen, pressureOf } from './tires-seen.js';

/** Axles of a unit in a truck file, and axles that a location byte can count. */
const MAX_UNIT_AXLES = 12;
const MAX_AXLES = 15;
/** Without other evidence a combination of four axles or more is taken for a tractor of three and what it tows. */
const TRACTOR_AXLES = 3;
/** Two senders that differ by no more tell of the same tire: two steps of TIRE1. kPa */
const SAME_KPA = 8;
const BSA_AXLES = 5;

/** Why an axle is taken for what it is. */
export interface AxleGuess {
  unit: string;
  /** From 0. */
  index: number;
  /** Of the senders that tell of it. */
  seen: LocationSeen[];
  /** For people; empty where the messages leave no choice. */
  doubts: string[];
}

/** A layout that the traffic would fit. The messages do not tell where a trailer begins, so a person must look. */
export interface LayoutGuess extends Pick<TruckConfig, 'units' | 'tirePositions'> {
  axles: AxleGuess[];
  /** How the end of the tractor was found. */
  split: 'brakes' | 'sender' | 'gap' | 'count' | 'none' | 'nothing';
}

interface Sender {
  bus: number;
  sa: number;
  /** By axle nibble: positions. */
  axles: Map<number, LocationSeen[]>;
}

interface Brakes {
  tractor: number;
  trailer: number;
}

/**
 * What layout the tire locations and the fitted brakes suggest.
 * @param busNames by index, as tirePositions names them
 */
export function guessLayout(
  locations: readonly LocationSeen[],
  strokes: readonly StrokesSeen[],
  busNames: readonly string[],
): LayoutGuess {
  const told = locations.filter((seen) => seen.location >> 4 < MAX_AXLES && (seen.location & 0xf) < 0xf);
  const senders = sendersOf(told);
  const brakes = brakesOf(strokes);
  const main = senders[0];
  const { same, towed } = sortSenders(main, senders.slice(1));
  const { tractorAxles, trailerFirst, split } = splitOf(main, towed.length > 0, brakes);
  const axles: AxleGuess[] = [];
  const put = (sender: Sender, unitOf: (axle: number) => [unit: string, index: number]): void => {
    for (const [nibble, seen] of sender.axles) {
      const [unit, index] = unitOf(nibble);
      if (index >= MAX_UNIT_AXLES) continue;
      const known = axles.find((axle) => axle.unit === unit && axle.index === index);
      if (known === undefined) axles.push({ unit, index, seen: [...seen], doubts: [] });
      else known.seen.push(...seen);
    }
  };
  const ofMain = (nibble: number): [string, number] =>
    nibble < trailerFirst ? ['tractor', nibble] : ['trailer', nibble - trailerFirst];
  for (const sender of main === undefined ? [] : [main, ...same]) put(sender, ofMain);
  for (const [n, sender] of towed.entries()) put(sender, (nibble) => [n === 0 ? 'trailer' : 'trailer-2', nibble]);
  const units = unitsOf(axles, { tractor: Math.max(tractorAxles, 1), trailer: brakes.trailer });
  return { units, axles, split, tirePositions: positionsOf(units, axles, busNames) };
}

/** Most locations first; a trailer's own sender after those of the tractor. */
function sendersOf(locations: readonly LocationSeen[]): Sender[] {
  const senders: Sender[] = [];
  for (const seen of locations) {
    let sender = senders.find(({ bus, sa }) => bus === seen.bus && sa === seen.sa);
    if (sender === undefined) {
      sender = { bus: seen.bus, sa: seen.sa, axles: new Map() };
      senders.push(sender);
    }
    const nibble = seen.location >> 4;
    sender.axles.set(nibble, [...(sender.axles.get(nibble) ?? []), seen]);
  }
  const rank = (s: Sender): number => (trailerOf(s.sa) === null ? 0 : 1);
  const size = (s: Sender): number => [...s.axles.values()].reduce((sum, list) => sum + list.length, 0);
  return senders.sort((a, b) => rank(a) - rank(b) || size(b) - size(a) || a.bus - b.bus || a.sa - b.sa);
}

/** Senders that repeat the first or go on where it ends, and those that count anew: towed units. At most two. */
function sortSenders(main: Sender | undefined, others: readonly Sender[]): { same: Sender[]; towed: Sender[] } {
  const same: Sender[] = [];
  const towed: Sender[] = [];
  for (const sender of main === undefined ? [] : others) {
    const isTrailer = trailerOf(sender.sa) !== null;
    if (!isTrailer && agrees(main!, sender)) same.push(sender);
    else if (towed.length < 2) towed.push(sender);
  }
  towed.sort((a, b) => (trailerOf(a.sa) ?? 9) - (trailerOf(b.sa) ?? 9));
  return { same, towed };
}

/** No location of both says two different pressures. */
function agrees(main: Sender, other: Sender): boolean {
  for (const [nibble, list] of other.axles) {
    for (const seen of list) {
      const twin = main.axles.get(nibble)?.find(({ location }) => location === seen.location);
      if (twin === undefined || !hasPressure(twin) || !hasPressure(seen)) continue;
      if (Math.abs(pressureOf(twin).last - pressureOf(seen).last) > SAME_KPA) return false;
    }
  }
  return true;
}

function brakesOf(strokes: readonly StrokesSeen[]): Brakes {
  const brakes: Brakes = { tractor: 0, trailer: 0 };
  for (const seen of strokes) {
    for (let field = 0; field < STROKE_FIELDS; field++) {
      if (!isFitted(seen, field)) continue;
      const axle = field >> 1;
      if (axle < BSA_AXLES) brakes.tractor = Math.max(brakes.tractor, axle + 1);
      else brakes.trailer = Math.max(brakes.trailer, axle - BSA_AXLES + 1);
    }
  }
  return brakes;
}

interface Split {
  tractorAxles: number;
  /** Axle nibble of the first sender at which the trailer begins. */
  trailerFirst: number;
  split: LayoutGuess['split'];
}

function splitOf(main: Sender | undefined, isTowedTold: boolean, brakes: Brakes): Split {
  const nibbles = main === undefined ? [] : [...main.axles.keys()].sort((a, b) => a - b);
  const count = nibbles.length === 0 ? 0 : nibbles.at(-1)! + 1;
  const whole = (split: Split['split']): Split => ({
    tractorAxles: Math.max(count, brakes.tractor),
    trailerFirst: MAX_AXLES,
    split,
  });
  if (isTowedTold) return whole('sender');
  if (brakes.tractor > 0) {
    if (count <= brakes.tractor) return whole('brakes');
    // An axle whose sensors are silent leaves a hole; a trailer that is counted from further on leaves one that is too large.
    const fits = brakes.trailer > 0 && count - brakes.tractor <= brakes.trailer;
    const first = nibbles.find((nibble) => nibble >= brakes.tractor)!;
    return { tractorAxles: brakes.tractor, trailerFirst: fits ? brakes.tractor : first, split: 'brakes' };
  }
  const gap = nibbles.findIndex((nibble, i) => i >= 2 && nibble > nibbles[i - 1]! + 1);
  if (gap > 0) return { tractorAxles: nibbles[gap - 1]! + 1, trailerFirst: nibbles[gap]!, split: 'gap' };
  if (count <= TRACTOR_AXLES) return whole(count === 0 ? 'nothing' : 'none');
  return { tractorAxles: TRACTOR_AXLES, trailerFirst: TRACTOR_AXLES, split: 'count' };
}

const UNITS = ['tractor', 'trailer', 'trailer-2'] as const;

function unitsOf(axles: AxleGuess[], least: { tractor: number; trailer: number }): UnitConfig[] {
  return UNITS.flatMap((unit): UnitConfig[] => {
    const told = axles.filter((axle) => axle.unit === unit);
    const floor = unit === 'trailer-2' ? 0 : least[unit];
    const count = Math.max(floor, ...told.map(({ index }) => index + 1));
    const list = Array.from({ length: count }, (_, index): AxleConfig => {
      let guess = told.find((axle) => axle.index === index);
      if (guess === undefined) {
        guess = { unit, index, seen: [], doubts: [] };
        axles.push(guess);
      }
      return axleOf(guess);
    });
    return list.length === 0 ? [] : [{ unit, id: null, axles: list }];
  });
}

function axleOf(guess: AxleGuess): AxleConfig {
  const { unit, index } = guess;
  const kind = unit !== 'tractor' ? 'trailer' : index === 0 ? 'steer' : 'drive';
  const name = kind === 'steer' ? 'steer' : kind === 'drive' ? `drive ${index}` : `${unit} ${index + 1}`;
  const tires = tiresOf(guess, kind === 'steer' ? 'single' : 'dual');
  return { name, kind, tires, coldPressureKpa: null, chamber: null };
}

const positionsSeen = ({ seen }: AxleGuess): number[] =>
  [...new Set(seen.map(({ location }) => location & 0xf))].sort((a, b) => a - b);

/** Two tires on one axle are single, more are dual; what is odd goes to the doubts. */
function tiresOf(guess: AxleGuess, usual: AxleConfig['tires']): AxleConfig['tires'] {
  const at = positionsSeen(guess);
  if (at.length === 0) {
    guess.doubts.push('no tire of this axle was heard');
    return usual;
  }
  if (at.length === 4) return 'dual';
  if (isTwo(at, 0, 1)) return 'single';
  if (isTwo(at, 0, 3) || isTwo(at, 1, 2)) {
    guess.doubts.push('two tires with a place left between them: single tires, or dual ones of which two are silent');
    return 'single';
  }
  if (at.length > 4) {
    guess.doubts.push(`${at.length} positions on one axle are more than four tires`);
    return 'dual';
  }
  const isDual = at.length === 3 || at.some((position) => position === 2 || position === 3);
  guess.doubts.push(`heard of ${at.length} tire${at.length === 1 ? '' : 's'} only`);
  return isDual ? 'dual' : at.length === 2 ? 'single' : usual === 'dual' ? 'dual' : 'single';
}

const isTwo = (at: readonly number[], left: number, right: number): boolean =>
  at.length === 2 && at[0] === left && at[1] === right;

/** Which position byte means which tire of an axle, left to right; null: nobody can tell. */
function placeOn(at: readonly number[], tires: AxleConfig['tires'], position: number): number | null {
  const count = tires === 'dual' ? 4 : 2;
  if (at.at(-1)! < count) return position;
  return at.length === count ? at.indexOf(position) : null;
}

/** What senders number differently from the order of the guessed layout. */
function positionsOf(
  units: readonly UnitConfig[],
  axles: readonly AxleGuess[],
  busNames: readonly string[],
): TruckConfig['tirePositions'] {
  const { tires } = listSubjects(units);
  const standard = locationTable(tires);
  const result: TruckConfig['tirePositions'] = [];
  for (const guess of axles) {
    const axle = units.find(({ unit }) => unit === guess.unit)?.axles[guess.index];
    if (axle === undefined) continue;
    const ofAxle = tires.filter(({ unit, axleIndex }) => unit === guess.unit && axleIndex === guess.index);
    const at = positionsSeen(guess);
    for (const { bus, sa, location } of guess.seen) {
      const place = placeOn(at, axle.tires, location & 0xf);
      const subject = place === null ? undefined : ofAxle[place]?.subject;
      if (subject === undefined || tires[standard[location]!]?.subject === subject) continue;
      let sender = result.find((one) => one.bus === busNames[bus] && one.source === sa);
      if (sender === undefined) {
        sender = { bus: busNames[bus]!, source: sa, tires: {} };
        result.push(sender);
      }
      sender.tires[location] = subject;
    }
  }
  return result;
}
