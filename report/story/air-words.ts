import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Words } from '../data.js';
import type { Gathered, GatheredEvent } from '../gathered.js';
import { fallOf } from './air-facts.js';
import { CIRCUITS } from './air-plots.js';
import { type AirTest, airTests, hasPassed, isEven } from './air-records.js';
import { applicationsIn } from './brake-applications.js';
import { atS, lasting, listed, showOf, type Window } from './kit.js';
import { numbersOf } from './measured.js';

/** "The primary circuit pressure was 60 psi at …; the limit is 60 psi." of each rise. */
export function measuredWords(gathered: Gathered, events: readonly GatheredEvent[]): Words[] {
  const show = showOf(gathered);
  return events.flatMap((event): Words[] => {
    const measured = numbersOf(event);
    if (measured === null) return [];
    const limit = measured.limit === undefined ? '' : `; the limit is ${shown(measured.limit, measured.unit, show)}`;
    return [
      [
        `At `,
        { atS: atS(gathered, event.atMs) },
        ` the ${quantityWords(measured.quantity)} was ${shown(measured.value, measured.unit, show)}${limit}.`,
      ],
    ];
  });
}

/** "leak rate, primary circuit" is "leak rate (primary circuit)". */
function quantityWords(quantity: string): string {
  const [what, ...of] = quantity.split(', ');
  return of.length === 0 ? quantity : `${what} (${of.join(', ')})`;
}

/** How both circuits went over a window, and how often the brakes were pressed meanwhile. */
export function fallWords(gathered: Gathered, window: Window): Words[] {
  const show = showOf(gathered);
  const falls = CIRCUITS.map((circuit) => fallOf(gathered, circuit, window)).filter((fall) => fall !== null);
  if (falls.length === 0) return [];
  const minutes = (window.toMs - window.fromMs) / 60_000;
  const each = falls.map(({ circuit, fromKpa, toKpa, fallKpa }) => {
    const rate = minutes > 0 && fallKpa > 0 ? `, ${shown(fallKpa / minutes, 'kPa/min', show)}` : '';
    return `the ${placeOf(circuit)} went from ${shown(fromKpa, 'kPa', show)} to ${shown(toKpa, 'kPa', show)}${rate}`;
  });
  const pressed = applicationsIn(gathered, window).length;
  return [
    [
      'From ',
      { atS: atS(gathered, window.fromMs) },
      ' to ',
      { atS: atS(gathered, window.toMs) },
      ` ${each.join(' and ')}; the brakes were pressed ${pressed === 1 ? 'once' : `${pressed} times`}.`,
    ],
  ];
}

/** The tests of one piece of time in words, worst first. */
export function pieceWords(gathered: Gathered, tests: readonly AirTest[]): Words {
  const show = showOf(gathered);
  const { startMs, values } = tests[0]!;
  const each = tests.map(({ values: v }, i) => {
    const rate = `${shown(v.fallKpa, 'kPa', show)}, ${shown(v.kpaPerMin, 'kPa/min', show)} (${verdict(v)})`;
    return `the ${placeOf(v.circuit)} ${i === 0 ? 'fell ' : ''}by ${rate}`;
  });
  return [
    'From ',
    { atS: atS(gathered, startMs) },
    ` on, for ${lasting(values.seconds)} with the brakes ${values.state}: ${listed(each)}; allowed are ${shown(values.limit, 'kPa/min', show)}.`,
  ];
}

function verdict(values: AirTest['values']): string {
  if (values.kpaPerMin < values.limit) return 'within';
  return isEven(values) ? 'too fast' : 'unevenly, which is no leak';
}

/** Tests of the same piece of time together, in the order of time; the worse circuit first. */
export function piecesOf(tests: readonly AirTest[]): AirTest[][] {
  const pieces = new Map<number, AirTest[]>();
  for (const test of tests) {
    const piece = pieces.get(test.endMs);
    if (piece === undefined) pieces.set(test.endMs, [test]);
    else piece.push(test);
  }
  const found = [...pieces.values()];
  for (const piece of found) piece.sort((a, b) => b.values.kpaPerMin - a.values.kpaPerMin);
  return found;
}

/** Tests before an instant, the latest first. */
export const testsBefore = (gathered: Gathered, atMs: number): AirTest[] =>
  airTests(gathered)
    .filter(({ endMs }) => endMs <= atMs)
    .reverse();

/** Tests that came after the alert, in one sentence; [] where there were none. */
export function laterTests(gathered: Gathered, atMs: number): Words[] {
  const later = airTests(gathered).filter(({ startMs }) => startMs > atMs);
  if (later.length === 0) return [];
  const failed = later.filter(({ values }) => !hasPassed(values)).length;
  return [[`After that ${failed} of ${later.length} more ${later.length === 1 ? 'test' : 'tests'} failed.`]];
}
