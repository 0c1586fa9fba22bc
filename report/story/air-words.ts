import { shown } from '../../config/show.js';
import type { Measured } from '../../daemon/alerts/event.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Words } from '../data.js';
import type { Gathered, GatheredEvent } from '../gathered.js';
import { fallOf } from './air-facts.js';
import { CIRCUITS } from './air-plots.js';
import { type AirTest, airTests, hasPassed, isEven } from './air-records.js';
import { applicationsIn } from './brake-applications.js';
import { atS, counted, lasting, showOf, type Window } from './kit.js';

type Numbers = Extract<Measured, { quantity: string }>;
export const numbersOf = (event: GatheredEvent | undefined): Numbers | null => {
  const measured = event?.draft.measured ?? null;
  return measured !== null && 'quantity' in measured ? measured : null;
};

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
        ` ${measured.quantity} was ${shown(measured.value, measured.unit, show)}${limit}.`,
      ],
    ];
  });
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

/** One leak test in words. */
export function testWords(gathered: Gathered, { startMs, values }: AirTest): Words {
  const show = showOf(gathered);
  const rate = shown(values.kpaPerMin, 'kPa/min', show);
  const isWithin = values.kpaPerMin < values.limit;
  const verdict = isWithin ? 'within it' : isEven(values) ? 'too fast' : 'but unevenly, which is no leak';
  return [
    'From ',
    { atS: atS(gathered, startMs) },
    ` on, for ${lasting(values.seconds)} with the brakes ${values.state}, the ${placeOf(values.circuit)} fell by ${shown(values.fallKpa, 'kPa', show)}: ${rate}, allowed are ${shown(values.limit, 'kPa/min', show)}; ${verdict}.`,
  ];
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
  return [[`After that there were ${counted(later.length, 'more test')}, of which ${failed} failed.`]];
}
