import type { Urgency } from '../../../config/resolved.js';
import type { Change, EventDraft, OpenAlert } from '../../../daemon/alerts/event.js';
import type { TripRecord } from '../../../daemon/effects.js';
import type { RecordOf } from '../../../daemon/truck/records.js';
import type { Random } from '../../../simulator/random.js';

/** What simulated trucks say: one of a few invented stories, as long as real messages are. */

interface Story {
  rule: EventDraft['rule'];
  place: string;
  subject: string;
  quantity: string;
  unit: string;
  value: number;
  limit: number;
}

const STORIES: readonly Story[] = [
  {
    ...{ rule: 'tire-losing-air', subject: 'tractor/2/left/outer', place: 'tractor axle 2, left outer tire' },
    ...{ quantity: 'leak rate', unit: 'kPa/min', value: 5.4, limit: 3.5 },
  },
  {
    ...{ rule: 'tire-underinflated', subject: 'trailer/1/right/inner', place: 'trailer axle 1, right inner tire' },
    ...{ quantity: 'cold pressure', unit: 'kPa', value: 588, limit: 606.7 },
  },
  {
    ...{ rule: 'tire-hot', subject: 'tractor/3/right/outer', place: 'tractor axle 3, right outer tire' },
    ...{ quantity: 'temperature', unit: '°C', value: 97.5, limit: 93.3 },
  },
  {
    ...{ rule: 'air-leaking', subject: 'air/supply', place: 'air supply' },
    ...{ quantity: 'leak rate', unit: 'kPa/min', value: 24.1, limit: 20.7 },
  },
];

const ADVICE =
  'Check this tire at the next safe stop: look for a nail, listen at the valve, feel the hub. Below the pressure of the placard do not go on with a load; a driver who smells rubber stops as soon as it is safe.';
const BASIS = 'loss of more than 3.5 kPa/min over five minutes against the other tires of the axle, common practice';
const POINTS = 12;

/** The four changes of an alert's life. */
export const LIFE: readonly { change: Change; urgency: Urgency; was: Urgency | null }[] = [
  { change: 'raised', urgency: 'plan', was: null },
  { change: 'worse', urgency: 'next-stop', was: 'plan' },
  { change: 'better', urgency: 'plan', was: 'next-stop' },
  { change: 'cleared', urgency: 'next-stop', was: 'plan' },
];

/** An alert of a simulated truck: its ordinal, its story, when it was raised, and how many of its changes have come. */
export interface Trouble {
  alert: number;
  id: string;
  story: number;
  raisedAt: number;
  step: number;
}

export const storyOf = (random: Random): number => random.whole(0, STORIES.length - 1);

/** The change that `trouble.step` says, at stream time t. */
export function draftOf(trouble: Trouble, t: number): EventDraft {
  const { rule, subject, place, quantity, unit, value, limit } = STORIES[trouble.story]!;
  return {
    ...{
      t,
      alert: trouble.alert,
      cause: null,
      rule,
      kind: 'equipment',
      subject,
      place,
      reason: null,
      trailer: 'TR-77',
    },
    ...LIFE[trouble.step]!,
    sinceAgoMs: t - trouble.raisedAt,
    measured: { quantity, window: 'steady', value, low: value * 0.9, high: value * 1.1, limit, unit, quality: 'good' },
    evidence: {
      ...{ quantity, unit },
      points: Array.from({ length: POINTS }, (_, i) => [(POINTS - 1 - i) * 10_000, value + i]),
    },
    forecast: { what: '80 % of cold pressure', inMs: 1_500_000, fromMs: 1_140_000, toMs: 1_980_000 },
    ...{ advice: ADVICE, basis: BASIS, vehicle: { speed: 88.1, lat: 41.2001, lon: -96.1003, ageS: 1 } },
  };
}

export function openAlertOf(trouble: Trouble, t: number): OpenAlert {
  const { alert, cause, rule, kind, subject, place, urgency, sinceAgoMs, measured } = draftOf(trouble, t);
  return {
    ...{ alert, cause, rule, kind, subject, place, urgency, sinceAgoMs, measured },
    ...{ unsure: false, chattering: false, taken: null, snoozed: null },
  };
}

const WHEEL_ENDS = ['tractor/1', 'tractor/2', 'tractor/3', 'trailer/1', 'trailer/2'].flatMap((axle) => [
  `${axle}/left`,
  `${axle}/right`,
]);
const TIRES = WHEEL_ENDS.flatMap((end) =>
  end.startsWith('tractor/1') ? [`${end}/single`] : [`${end}/outer`, `${end}/inner`],
);
const CIRCUITS = ['air/primary', 'air/secondary', 'air/supply', 'air/parking'];

/** All values of an eighteen-wheeler. */
export function readingOf(random: Random): Record<string, (number | null)[]> {
  const r: Record<string, (number | null)[]> = {};
  for (const tire of TIRES) {
    const kpa = random.whole(670, 730);
    r[tire] = [kpa, kpa - random.whole(5, 25), random.whole(20, 60), random.whole(1, 12)];
  }
  for (const end of WHEEL_ENDS) r[end] = [0, 1];
  for (const circuit of CIRCUITS) r[circuit] = [random.whole(720, 880), 1];
  return r;
}

export const tripOf = (trip: number, startAt: number, endAt: number): TripRecord => ({
  ...{ trip, provisional: false, startAt, endAt, distanceKm: 74.3, alerts: 0, gapS: 0, notJudged: [] },
  summary: {
    ...{ durationS: 5400, movingS: 4810, engineS: 5380, distanceFrom: 'odometer' },
    applications: { count: 41, qualifying: 12, hardestKpa: 390 },
    hottestTire: { subject: 'tractor/3/right/inner', celsius: 61.5 },
    lowestAir: { primaryKpa: 668, secondaryKpa: 676 },
    compressor: { share: 0.148, from: 'signal' },
    raised: { plan: 0, 'next-stop': 0, 'pull-over': 0 },
    silent: [],
  },
});

export const checkOf = (trip: number, startAt: number, endAt: number): RecordOf<'start-check'> => ({
  ...{ kind: 'start-check', subject: 'trip', startAt, endAt },
  values: {
    ...{ trip, why: 'complete', stoodS: 1800 },
    tires: Object.fromEntries(
      TIRES.map((tire) => [tire, { kpa: 700, coldKpa: 690, targetKpa: 689.5, share: 1, ageS: 3, sure: true }]),
    ),
    brakes: {
      applications: 3,
      wheels: Object.fromEntries(
        WHEEL_ENDS.map((end) => [end, { applied: 0, released: 0, strokeMm: null, restMm: null }]),
      ),
    },
    air: { startKpa: 740, lowAirS: null, buildUp: null, leakTests: [] },
  },
});
