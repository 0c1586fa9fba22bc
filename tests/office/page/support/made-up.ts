import type { ReceivedEvent } from '../../../../adapters/mqtt/messages.js';
import type { ReceivedTrip } from '../../../../adapters/mqtt/trip-messages.js';
import type { BoardAlert, BoardSnapshot, BoardTruck, Series, TruckPage } from '../../../../office/core/board-model.js';

/** A morning of fleet northline that never was. Everything is told relative to nowMs. */

export const MINUTE = 60_000;
export const HOUR = 60 * MINUTE;
export const stamp = (ms: number): string => new Date(ms).toISOString();

export const STORE = 'k3f9q2m1x7ab';
const BASIS = 'common practice';

export function madeUpAlert(nowMs: number, part: Partial<BoardAlert> & { id: string }): BoardAlert {
  return {
    store: STORE,
    cause: null,
    rule: 'tire-underinflated',
    kind: 'equipment',
    subject: 'tractor/2/left/outer',
    place: 'tractor axle 2, left outer tire',
    what: 'pressure below target',
    urgency: 'plan',
    unsure: false,
    chattering: false,
    since: stamp(nowMs - 20 * MINUTE),
    at: stamp(nowMs - 20 * MINUTE),
    synced: true,
    measured: null,
    evidence: null,
    forecast: null,
    advice: 'Top up to the cold target before the next trip. Shop: find out why it is low.',
    basis: BASIS,
    vehicle: null,
    taken: null,
    snoozed: null,
    note: null,
    urgentSinceMs: nowMs - 20 * MINUTE,
    untakenMs: null,
    explains: [],
    isExplained: false,
    asked: null,
    isTaken: false,
    isSnoozed: false,
    isUntaken: false,
    ...part,
  };
}

export function madeUpTruck(nowMs: number, part: Partial<BoardTruck> & { truck: string }): BoardTruck {
  return {
    fleet: 'northline',
    revision: 1,
    trailer: null,
    reach: 'awake',
    heardMs: nowMs - 14_000,
    sinceMs: nowMs - 3 * HOUR,
    sick: [],
    vehicle: { speed: 88.1, lat: 41.2, lon: -96.1, age: 1 },
    vehicleMs: nowMs - 14_000,
    isMoving: true,
    alerts: [],
    more: 0,
    ...part,
  };
}

/** kPa that fall faster and faster over half an hour. */
const falling = (nowMs: number): [string, number][] =>
  [688, 687, 684, 679, 671, 660, 646, 630, 612, 596].map((kpa, i) => [stamp(nowMs - (28 - 3 * i) * MINUTE), kpa]);

export function losingAir(nowMs: number): BoardAlert {
  return madeUpAlert(nowMs, {
    id: `T-1042.${STORE}.401`,
    rule: 'tire-losing-air',
    what: 'losing air',
    urgency: 'pull-over',
    measured: {
      quantity: 'leak rate',
      window: 'rapid',
      value: 19.8,
      low: 12.1,
      high: 24.3,
      limit: 8,
      unit: 'kPa/min',
      quality: 'good',
    },
    evidence: { quantity: 'cold pressure', unit: 'kPa', points: falling(nowMs) },
    forecast: {
      what: '50 % of cold pressure',
      at: stamp(nowMs + 13 * MINUTE),
      from: stamp(nowMs + 9 * MINUTE),
      to: stamp(nowMs + 19 * MINUTE),
    },
    advice:
      'Losing air fast. Stop as soon as it is safe, away from traffic; do not drive on it. Stand clear of its side; no air into it before it was inspected. Shop: look at tire, valve and rim, and at the tire beside it.',
    urgentSinceMs: nowMs - 70_000,
    explains: [`T-1042.${STORE}.402`],
  });
}

const dragging = (nowMs: number): BoardAlert =>
  madeUpAlert(nowMs, {
    id: `T-208.${STORE}.77`,
    rule: 'brake-dragging',
    what: 'brake does not release',
    subject: 'trailer/2/left',
    place: 'trailer axle 2, left brake',
    urgency: 'next-stop',
    measured: { code: 3, text: 'dragging' },
    advice:
      'The brake does not release. Check it at the next safe stop, feel for heat with care. Shop: release of the chamber, parking brake.',
    since: stamp(nowMs - 19 * MINUTE),
    urgentSinceMs: nowMs - 19 * MINUTE,
    untakenMs: nowMs - 4 * MINUTE,
    isUntaken: true,
    unsure: true,
  });

const leaking = (nowMs: number): BoardAlert =>
  madeUpAlert(nowMs, {
    id: `B-31.${STORE}.12`,
    rule: 'tire-losing-air',
    what: 'losing air',
    subject: 'tractor/1/right/single',
    place: 'tractor axle 1, right tire',
    urgency: 'next-stop',
    measured: {
      quantity: 'leak rate',
      window: 'steady',
      value: 3.4,
      low: 2.9,
      high: 4.1,
      limit: 1.8,
      unit: 'kPa/min',
      quality: 'good',
    },
    evidence: { quantity: 'cold pressure', unit: 'kPa', points: falling(nowMs).map(([at, kpa]) => [at, kpa + 60]) },
    forecast: {
      what: '80 % of cold pressure',
      at: stamp(nowMs + 25 * MINUTE),
      from: stamp(nowMs + 19 * MINUTE),
      to: stamp(nowMs + 33 * MINUTE),
    },
    advice:
      'Losing air now. Stop at the next safe place and check it. Shop: look for a puncture, the valve and the rim seat.',
    urgentSinceMs: nowMs - 6 * MINUTE,
  });

const PLACES = [
  '1/left/outer',
  '1/left/inner',
  '1/right/outer',
  '1/right/inner',
  '2/left/outer',
  '2/left/inner',
  '2/right/outer',
];

/** What a cold night does to one trailer. */
const coldMorning = (nowMs: number): BoardAlert[] =>
  PLACES.map((place, i) => {
    const [axle, side, position] = place.split('/');
    return madeUpAlert(nowMs, {
      id: `T-311.${STORE}.${200 + i}`,
      subject: `trailer/${place}`,
      place: `trailer axle ${axle}, ${side} ${position} tire`,
      measured: { quantity: 'cold pressure', value: 612 - 3 * i, limit: 620.6, unit: 'kPa', quality: 'good' },
      urgentSinceMs: nowMs - (70 - i) * MINUTE,
      since: stamp(nowMs - (70 - i) * MINUTE),
    });
  });

const taken = (nowMs: number): BoardAlert =>
  madeUpAlert(nowMs, {
    id: `T-97.${STORE}.31`,
    rule: 'brake-overstroke',
    what: 'pushrod stroke too long',
    subject: 'trailer/1/right',
    place: 'trailer axle 1, right brake',
    urgency: 'next-stop',
    measured: { code: 2, text: 'over-stroke', of: '2 of 3' },
    urgentSinceMs: nowMs - 50 * MINUTE,
    taken: { who: 'Kim', at: stamp(nowMs - 44 * MINUTE) },
    isTaken: true,
    note: 'Driver stops at the yard in Ogallala, shop knows.',
  });

const snoozed = (nowMs: number): BoardAlert =>
  madeUpAlert(nowMs, {
    id: `T-450.${STORE}.8`,
    rule: 'duals-unequal',
    what: 'dual tires carry unequal pressure',
    subject: 'tractor/3/left/pair',
    place: 'tractor axle 3, left dual tires',
    measured: { quantity: 'difference', value: 62, limit: 48, unit: 'kPa', quality: 'good' },
    snoozed: { who: 'Anna', until: stamp(nowMs + 95 * MINUTE) },
    isSnoozed: true,
  });

const silent = (nowMs: number): BoardAlert =>
  madeUpAlert(nowMs, {
    id: `T-450.${STORE}.9`,
    rule: 'tire-sensor-silent',
    kind: 'system',
    what: 'tire sensor is silent',
    subject: 'tractor/3/right/inner',
    place: 'tractor axle 3, right inner tire',
    measured: { silentS: 640 },
    advice: 'No pressure is known here: check with a gauge at each stop. Shop: sensor, battery, receiver.',
  });

export function madeUpTrucks(nowMs: number): BoardTruck[] {
  const fault = madeUpAlert(nowMs, {
    id: `T-1042.${STORE}.402`,
    cause: `T-1042.${STORE}.401`,
    isExplained: true,
    rule: 'duals-unequal',
    what: 'dual tires carry unequal pressure',
    place: 'tractor axle 2, left dual tires',
    subject: 'tractor/2/left/pair',
  });
  return [
    madeUpTruck(nowMs, { truck: 'T-1042', trailer: 'TR-77', alerts: [losingAir(nowMs), fault] }),
    madeUpTruck(nowMs, {
      truck: 'T-208',
      trailer: 'TR-12',
      alerts: [dragging(nowMs)],
      reach: 'offline',
      heardMs: nowMs - 23 * MINUTE,
      sinceMs: nowMs - 22 * MINUTE,
      vehicleMs: nowMs - 23 * MINUTE,
      vehicle: { speed: 61, lat: 40.8, lon: -98.4, age: 2 },
    }),
    madeUpTruck(nowMs, {
      truck: 'B-31',
      alerts: [leaking(nowMs)],
      vehicle: { speed: 54, lat: 41.3, lon: -95.9, age: 3 },
    }),
    madeUpTruck(nowMs, {
      truck: 'T-311',
      trailer: 'TR-40',
      alerts: coldMorning(nowMs),
      isMoving: false,
      reach: 'parked',
    }),
    madeUpTruck(nowMs, { truck: 'T-97', trailer: 'TR-5', alerts: [taken(nowMs)] }),
    madeUpTruck(nowMs, { truck: 'T-450', alerts: [snoozed(nowMs), silent(nowMs)], isMoving: false, reach: 'parked' }),
    madeUpTruck(nowMs, {
      truck: 'T-512',
      reach: 'not-heard',
      heardMs: nowMs - 15 * HOUR,
      sinceMs: nowMs - 2 * HOUR,
      isMoving: null,
      vehicle: null,
      vehicleMs: null,
    }),
    madeUpTruck(nowMs, { truck: 'T-513', reach: 'late', heardMs: nowMs - 31 * MINUTE, sinceMs: nowMs - 26 * MINUTE }),
    madeUpTruck(nowMs, { truck: 'T-600', sick: ['its store cannot be written: events are kept in memory only'] }),
  ];
}

export const madeUpSnapshot = (nowMs: number): BoardSnapshot => ({
  nowMs,
  trucks: madeUpTrucks(nowMs),
  counts: { awake: 34, parked: 9, asleep: 21, off: 6, offline: 1, late: 1, 'not-heard': 1 },
  untakenMs: { northline: { 'pull-over': 2 * MINUTE, 'next-stop': 15 * MINUTE, plan: null } },
  notes: [],
});

export function madeUpEvent(nowMs: number, part: Partial<ReceivedEvent> & { seq: number }): ReceivedEvent {
  return {
    v: 1,
    fleet: 'northline',
    truck: 'T-1042',
    trailer: 'TR-77',
    store: STORE,
    boot: 12,
    config: '9c1e44d0',
    version: '0.1.0',
    alert: `T-1042.${STORE}.401`,
    cause: null,
    rule: 'tire-losing-air',
    kind: 'equipment',
    subject: 'tractor/2/left/outer',
    place: 'tractor axle 2, left outer tire',
    change: 'raised',
    urgency: 'next-stop',
    was: null,
    since: stamp(nowMs - 20 * MINUTE),
    at: stamp(nowMs - 20 * MINUTE),
    synced: true,
    heldS: 0,
    measured: null,
    evidence: null,
    forecast: null,
    advice: 'Losing air now.',
    basis: BASIS,
    vehicle: { speed: 88, lat: 41.2, lon: -96.1, age: 1 },
    ...part,
  };
}

/** Newest first, as the office gives them. */
export function madeUpEvents(nowMs: number): ReceivedEvent[] {
  const air = {
    alert: `T-1042.${STORE}.380`,
    rule: 'air-low',
    subject: 'air/service',
    place: 'service air',
    urgency: 'pull-over',
    since: stamp(nowMs - 5 * HOUR),
  } as const;
  const limit = { quantity: 'cold pressure', value: 550, limit: 551.6, unit: 'kPa', quality: 'good' } as const;
  return [
    madeUpEvent(nowMs, {
      seq: 411,
      change: 'worse',
      urgency: 'pull-over',
      was: 'next-stop',
      at: stamp(nowMs - 70_000),
    }),
    madeUpEvent(nowMs, { seq: 401, measured: limit }),
    madeUpEvent(nowMs, { ...air, seq: 383, change: 'cleared', at: stamp(nowMs - 4.7 * HOUR) }),
    madeUpEvent(nowMs, {
      ...air,
      seq: 382,
      change: 'taken',
      who: 'Kim',
      note: 'Driver waits until both circuits are up.',
      at: stamp(nowMs - 4.9 * HOUR),
    }),
    madeUpEvent(nowMs, { ...air, seq: 380, at: stamp(nowMs - 5 * HOUR) }),
  ];
}

const TRIP: ReceivedTrip = {
  v: 1,
  store: STORE,
  boot: 12,
  trip: 31,
  config: '9c1e44d0',
  synced: true,
  start: '',
  end: '',
  durationS: 10_821,
  movingS: 9412,
  distanceKm: 212.4,
  distanceFrom: 'odometer',
  hottestTire: { subject: 'tractor/3/right/inner', celsius: 71.5 },
  lowestAir: { primaryKpa: 668, secondaryKpa: 676 },
  alerts: 3,
  gapS: 0,
  silent: [{ subject: 'trailer/2/left/outer', seconds: 1260 }],
  notJudged: [],
};

/** Target by subject, kPa: a steer axle, two drive axles with duals, two trailer axles with duals. */
const TARGETS: Record<string, number> = Object.fromEntries(
  ['tractor/1/left/single', 'tractor/1/right/single']
    .map((subject): [string, number] => [subject, 827.4])
    .concat(
      ['tractor/2', 'tractor/3', 'trailer/1', 'trailer/2'].flatMap((axle) =>
        ['left/outer', 'left/inner', 'right/inner', 'right/outer'].map((place): [string, number] => [
          `${axle}/${place}`,
          689.5,
        ]),
      ),
    ),
);

/** Cold pressure of a subject at an instant: one loses air, one is a little low, the others breathe with the day. */
function coldKpa(subject: string, ms: number, nowMs: number): number {
  const target = TARGETS[subject]!;
  const wave = Math.sin(ms / HOUR + subject.length * subject.charCodeAt(8)) * 5;
  const lost = subject === 'tractor/2/left/outer' ? Math.max(0, (ms - (nowMs - 30 * MINUTE)) / MINUTE) ** 1.3 * 2.2 : 0;
  return target * (subject === 'trailer/2/right/outer' ? 0.88 : 0.99) + wave - lost;
}

/** Every five minutes, with an hour in which the truck told nothing. */
export function madeUpSeries(nowMs: number, fromMs: number, toMs: number): Series {
  const r: Series['r'] = {};
  for (let ms = Math.ceil(fromMs / (5 * MINUTE)) * 5 * MINUTE; ms <= Math.min(toMs, nowMs); ms += 5 * MINUTE) {
    if (ms > nowMs - 4 * HOUR && ms < nowMs - 3 * HOUR) continue;
    for (const subject of Object.keys(TARGETS)) {
      const cold = Math.round(coldKpa(subject, ms, nowMs) * 10) / 10;
      r[subject] = [...(r[subject] ?? []), [ms, cold + 40, cold, 41, 12]];
    }
    const pumped = 780 + ((ms / MINUTE) % 7) * 12;
    r['air/primary'] = [...(r['air/primary'] ?? []), [ms, pumped, 1]];
    r['air/secondary'] = [...(r['air/secondary'] ?? []), [ms, pumped + 12, 1]];
  }
  return { fromMs, toMs, r };
}

export function madeUpPage(nowMs: number, truck: BoardTruck): TruckPage {
  const tires = Object.keys(TARGETS).map((subject): [string, (number | null)[]] => {
    const cold = Math.round(coldKpa(subject, nowMs, nowMs) * 10) / 10;
    return [subject, subject === 'tractor/3/right/inner' ? [cold, cold - 17, 39, 2460] : [cold + 40, cold, 41, 12]];
  });
  const brakes = ['tractor/1', 'tractor/2', 'tractor/3', 'trailer/1', 'trailer/2'].flatMap(
    (axle): [string, (number | null)[]][] => [
      [`${axle}/left`, [0, 3]],
      [`${axle}/right`, [axle === 'trailer/1' ? 2 : 0, 3]],
    ],
  );
  const air: [string, (number | null)[]][] = [
    ['air/primary', [868, 1]],
    ['air/secondary', [880, 1]],
  ];
  return {
    truck,
    config: '9c1e44d0',
    version: '0.1.0',
    bus: { main: 'listen-only' },
    reading: { v: 1, at: stamp(nowMs - 2 * MINUTE), r: Object.fromEntries([...tires, ...brakes, ...air]) },
    readingMs: nowMs - 2 * MINUTE,
    check: {
      v: 1,
      kind: 'start-check',
      store: STORE,
      boot: 12,
      trip: 31,
      config: '9c1e44d0',
      synced: true,
      start: stamp(nowMs - 3 * HOUR),
      at: stamp(nowMs - 2.9 * HOUR),
      why: 'complete',
      stoodS: 41_200,
      tires: Object.fromEntries(
        Object.entries(TARGETS).map(([subject, target]) => [subject, [target, target, target, 1, 3, true]]),
      ),
      brakes: { applications: 3, wheels: { 'tractor/2/left': [0, 0, 38.1, 4.2], 'trailer/1/right': [2, 0, 52.4, 5] } },
      air: { startKpa: 380, lowAirS: 21, buildUp: null, leakTests: [] },
    },
    muted: [{ rule: 'duals-unequal', subject: 'tractor/2/left/pair', urgency: 'plan', by: 'tire-losing-air' }],
    notJudged: [
      { subject: 'trailer/1/left/inner', what: 'sensor-bad', who: 'workshop', until: stamp(nowMs + 72 * HOUR) },
    ],
    events: madeUpEvents(nowMs),
    trips: [{ ...TRIP, start: stamp(nowMs - 9 * HOUR), end: stamp(nowMs - 6 * HOUR) }],
  };
}
