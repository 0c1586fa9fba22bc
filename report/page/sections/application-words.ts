import type { BrakeSection } from '../../data.js';
import { type Clock, span } from '../words/time.js';
import { inUnits, type Show, stateWords } from '../words/units.js';

/** What one application was to one wheel, in a line. */
export function applicationWords(
  { applications }: BrakeSection,
  wheel: BrakeSection['wheels'][number],
  row: number,
  clock: Clock,
  show: Show,
): string {
  const { s, durationS, peakKpa, startKmh, endKmh, qualifying } = applications;
  const [stroke, code, peak] = [wheel.strokeMm[row] ?? null, wheel.code[row] ?? null, peakKpa[row] ?? null];
  const [from, to] = [startKmh[row] ?? null, endKmh[row] ?? null];
  return [
    clock.moment(s[row]!),
    ...(stroke === null ? [] : [`stroke ${inUnits(stroke, 'mm', show)}`]),
    ...(code === null ? [] : [stateWords(code)]),
    peak === null ? 'pressure not known' : `peak ${inUnits(peak, 'kPa', show)}`,
    `for ${span(durationS[row]!)}`,
    ...(from === null
      ? []
      : [`at ${inUnits(from, 'km/h', show)}${to === null ? '' : ` down to ${inUnits(to, 'km/h', show)}`}`]),
    ...(qualifying[row] === 1 ? [] : ['does not qualify']),
  ].join(', ');
}
