import type { AxleConfig } from './resolved.js';

/**
 * Stroke limits of brake chambers: 49 CFR 393.47(e). A stroke *greater* than the limit is a violation, one at the limit is
 * legal. Keyed on type and rated stroke; letters such as L or LS mean different things to different makers.
 */

/** How far a figure was checked: C read in the source, S seen in secondary sources that agree, M from memory. */
export type Certainty = 'C' | 'S' | 'M';

export interface ChamberRow {
  /** Clamp types are bare numbers; others carry their construction: DD3-30, BOLT-A, ROTO-30. */
  type: string;
  construction: 'clamp' | 'dd-3' | 'bolt' | 'rotochamber';
  /** Long-stroke rows hold from this rated stroke on, in inches; null: the standard row. */
  ratedFromIn: number | null;
  /** The limit as the regulation has it, in inches and in its own rounded millimetres. */
  limitIn: number;
  printedMm: number;
  certainty: Certainty;
}

const row = (
  construction: ChamberRow['construction'],
  type: string,
  ratedFromIn: number | null,
  limitIn: number,
  printedMm: number,
  certainty: Certainty,
): ChamberRow => ({ type, construction, ratedFromIn, limitIn, printedMm, certainty });

// The 2 1/4 in of type 12 is derived: limits are about 80 % of the rated stroke, and 1 3/4 is 80 % of 2 1/4.
export const CHAMBER_ROWS: readonly ChamberRow[] = [
  row('clamp', '6', null, 1.25, 31.8, 'M'),
  row('clamp', '9', null, 1.375, 34.9, 'M'),
  row('clamp', '12', null, 1.375, 34.9, 'S'),
  row('clamp', '12', 2.25, 1.75, 44.5, 'S'),
  row('clamp', '16', null, 1.75, 44.5, 'S'),
  row('clamp', '16', 2.5, 2, 50.8, 'S'),
  row('clamp', '20', null, 1.75, 44.5, 'S'),
  row('clamp', '20', 2.5, 2, 50.8, 'S'),
  row('clamp', '20', 3, 2.5, 63.5, 'M'),
  row('clamp', '24', null, 1.75, 44.5, 'S'),
  row('clamp', '24', 2.5, 2, 50.8, 'S'),
  row('clamp', '24', 3, 2.5, 63.5, 'S'),
  row('clamp', '30', null, 2, 50.8, 'S'),
  row('clamp', '30', 3, 2.5, 63.5, 'S'),
  row('clamp', '36', null, 2.25, 57.2, 'S'),
  row('dd-3', 'DD3-30', null, 2.25, 57.2, 'M'),
  row('bolt', 'BOLT-A', null, 1.375, 34.9, 'M'),
  row('bolt', 'BOLT-B', null, 1.75, 44.5, 'M'),
  row('bolt', 'BOLT-C', null, 1.75, 44.5, 'M'),
  row('bolt', 'BOLT-D', null, 1.25, 31.8, 'M'),
  row('bolt', 'BOLT-E', null, 1.375, 34.9, 'M'),
  row('bolt', 'BOLT-F', null, 2.25, 57.2, 'M'),
  row('bolt', 'BOLT-G', null, 2, 50.8, 'M'),
  row('rotochamber', 'ROTO-9', null, 1.5, 38.1, 'M'),
  row('rotochamber', 'ROTO-12', null, 1.5, 38.1, 'M'),
  row('rotochamber', 'ROTO-16', null, 2, 50.8, 'M'),
  row('rotochamber', 'ROTO-20', null, 2, 50.8, 'M'),
  row('rotochamber', 'ROTO-24', null, 2, 50.8, 'M'),
  row('rotochamber', 'ROTO-30', null, 2.25, 57.2, 'M'),
  row('rotochamber', 'ROTO-36', null, 2.75, 69.9, 'M'),
  row('rotochamber', 'ROTO-50', null, 3, 76.2, 'M'),
];

const MM_PER_INCH = 25.4;
/** Rated strokes are written as 2.5 in, 63.5 mm or 64 mm. */
const RATED_TOLERANCE_MM = 0.6;
/** The shortest standard limit of the types that heavy axles carry (16, 20, 24); for a chamber of which nothing is known. */
const UNKNOWN_LIMIT = { limitIn: 1.75, printedMm: 44.5 };

export interface StrokeLimit {
  /** A stroke greater than this is over the limit. */
  limitMm: number;
  certainty: Certainty;
  basis: string;
}

/**
 * The regulation prints each limit twice, and its millimetres are rounded up or down. The larger figure counts: a stroke
 * that is legal by either is not called a violation.
 */
function looser({ limitIn, printedMm }: { limitIn: number; printedMm: number }): number {
  return Math.max(Math.round(limitIn * MM_PER_INCH * 1000) / 1000, printedMm);
}

const normalized = (type: string): string =>
  type
    .trim()
    .toUpperCase()
    .replace(/[\s_]+/g, '-');

const rowsOf = (type: string): ChamberRow[] => CHAMBER_ROWS.filter((r) => r.type === normalized(type));

/** The limit of a chamber. Without a rated stroke, the standard limit: it is the shorter one. null: nothing is known. */
export function strokeLimit(chamber: AxleConfig['chamber']): StrokeLimit {
  const rows = chamber === null ? [] : rowsOf(chamber.type);
  const rated = chamber?.ratedStrokeMm ?? null;
  const fitting = rows.filter(
    ({ ratedFromIn: from }) => from === null || (rated !== null && rated >= from * MM_PER_INCH - RATED_TOLERANCE_MM),
  );
  const found = fitting.at(-1);
  if (found !== undefined) {
    const basis = `49 CFR 393.47(e)${found.certainty === 'M' ? ' (figure from memory)' : ''}`;
    return { limitMm: looser(found), certainty: found.certainty, basis };
  }
  if (rated !== null) {
    const limitMm = Math.round(rated * 800) / 1000;
    return { limitMm, certainty: 'C', basis: '49 CFR 396 App. A 1.a(5)(b): 80 % of rated stroke' };
  }
  return {
    limitMm: looser(UNKNOWN_LIMIT),
    certainty: 'S',
    basis: 'common practice: unknown chamber, shorter standard limit',
  };
}

/** At the limit is legal, beyond it is not (49 CFR 393.47(e)(1); 396 App. A 1.a(5)). */
export function strokeExceeds(limitMm: number, strokeMm: number): boolean {
  return strokeMm > limitMm;
}

/** What the owner of a truck file should know of a chamber that the table does not have; null when all is well. */
export function chamberNote(chamber: NonNullable<AxleConfig['chamber']>): { text: string; hint: string } | null {
  if (rowsOf(chamber.type).length > 0) return null;
  const bare = /^(\d+)\D+$/.exec(chamber.type)?.[1];
  const text = `chamber type "${chamber.type}" is not in the table; its limit is taken as ${strokeLimit(chamber).limitMm} mm`;
  const known = CHAMBER_ROWS.filter((r) => r.ratedFromIn === null).map((r) => r.type);
  const hint =
    bare !== undefined && known.includes(bare)
      ? `write "type: ${bare}" and the ratedStroke on its tag; letters mean different things to different makers`
      : `known: ${known.join(', ')}`;
  return { text, hint };
}
