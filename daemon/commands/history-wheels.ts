import { STROKE_TEXT } from '../monitors/brake-state.js';
import { objectOf, type Row } from './history-kinds.js';

/** What one brake told of a brake application: worst state (0 ok … 3 dragging) and greatest stroke. */
export interface WheelTold {
  code: number | null;
  strokeMm: number | null;
}

/** By wheel end, of a row of `applications`. */
export const wheelsOf = (row: Row): [wheel: string, told: WheelTold][] =>
  Object.entries(objectOf(row.wheels) as Record<string, WheelTold>);

/** As in `tractor/10/left` after `tractor/2/left`. */
const byNumber = new Intl.Collator('en', { numeric: true });

/** Columns that a spreadsheet can plot, for wheel ends that occur. Any order gives the same. */
export const wheelColumns = (wheels: ReadonlySet<string>): string[] =>
  [...wheels].sort(byNumber.compare).flatMap((wheel) => [`stroke_mm ${wheel}`, `state ${wheel}`]);

/** The row with these columns; a state is a word. */
export function withWheels(row: Row): Row {
  const wide = { ...row };
  for (const [wheel, { code, strokeMm }] of wheelsOf(row)) {
    wide[`stroke_mm ${wheel}`] = strokeMm;
    wide[`state ${wheel}`] = code === null ? null : (STROKE_TEXT[code] ?? `code ${code}`);
  }
  return wide;
}
