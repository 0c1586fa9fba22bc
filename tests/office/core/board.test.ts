import { describe, expect, it } from 'vitest';
import { RULE_NAMES } from '../../../config/resolved.js';
import { attention } from '../../../office/core/attention.js';
import { boardTruck, isWorthShowing, snapshotOf, whatOf } from '../../../office/core/board.js';
import type { BoardTruck, Reach } from '../../../office/core/board-model.js';
import { decide } from '../../../office/core/decide.js';
import { newTruckState } from '../../../office/core/model.js';
import { compareAlerts, compareTrucks } from '../../../office/core/order.js';
import { localTime } from '../../../office/core/reach.js';
import fc from '../../support/property.js';
import { idOf, KEY, listedOf, MIN, Office, RULES, S, stamp, T0 } from './messages.js';

const board = (office: Office): BoardTruck => boardTruck(KEY, office.state, office.rules, office.nowMs);
/** T0 is Monday, 2 March 2026, 08:00 in Chicago. */
const EXPECTED = [{ truck: KEY.truck, days: [1], byMinute: 7 * 60 }];

describe('how a truck is to be reached', () => {
  it.each<[string, (o: Office) => Office, Reach, number | null]>([
    ['never heard', (o) => o, 'off', null],
    ['awake', (o) => o.presence('awake'), 'awake', T0],
    ['blind is awake', (o) => o.presence('blind'), 'awake', T0],
    ['parked', (o) => o.presence('parked'), 'parked', T0],
    ['asleep', (o) => o.presence('asleep').wait(600 * MIN), 'asleep', T0],
    ['parked, then its unit went off', (o) => o.presence('parked').presence('offline', { since: null }), 'off', T0],
    [
      'the line broke while awake',
      (o) => o.presence('awake').wait(MIN).presence('offline', { since: null }),
      'offline',
      T0 + MIN,
    ],
    ['never but offline', (o) => o.presence('offline', { since: null }), 'offline', T0],
    ['silent for less than twelve minutes', (o) => o.presence('awake').wait(12 * MIN - 1), 'awake', T0],
    [
      'silent for twelve',
      (o) =>
        o
          .presence('awake')
          .wait(MIN)
          .event(1, 'raised')
          .wait(12 * MIN),
      'late',
      T0 + MIN,
    ],
    ['without a presence, heard', (o) => o.event(1, 'raised'), 'awake', null],
    ['without a presence, silent', (o) => o.event(1, 'raised').wait(12 * MIN), 'late', T0],
  ])('%s', (_name, tell, reach, sinceMs) => {
    const office = new Office();
    tell(office);
    expect(board(office)).toMatchObject({ reach, sinceMs });
  });

  it.each<[string, number | null, Reach]>([
    ['not listening', null, 'awake'],
    ['listening for less than twelve minutes', T0 + 60 * MIN - 12 * MIN + 1, 'awake'],
    ['listening for twelve', T0 + 60 * MIN - 12 * MIN, 'late'],
  ])('an office that is %s has heard nothing of it', (_name, listeningMs, reach) => {
    const { state } = new Office().presence('awake');
    expect(boardTruck(KEY, state, RULES, T0 + 60 * MIN, listeningMs).reach).toBe(reach);
    const expecting = { ...RULES, expected: EXPECTED };
    const missed = boardTruck(KEY, newTruckState(), expecting, T0 + 60 * MIN, listeningMs).reach;
    expect(missed).toBe(reach === 'late' ? 'not-heard' : 'off');
  });

  it('says since when by the truck where it knows', () => {
    expect(board(new Office().presence('awake', { since: stamp(T0 - 3 * MIN) })).sinceMs).toBe(T0 - 3 * MIN);
  });
});

describe('a truck that is expected', () => {
  const expecting = (more = {}): Office => new Office({ expected: EXPECTED, ...more });

  it.each<[string, Office, (o: Office) => Office, Reach]>([
    ['and was never heard', expecting(), (o) => o, 'not-heard'],
    ['and was heard today', expecting(), (o) => o.event(1, 'raised').wait(20 * MIN), 'late'],
    ['and is parked with its unit off since yesterday', expecting(), (o) => yesterday(o, 'parked'), 'not-heard'],
    ['and is asleep, unit on, since yesterday', expecting(), (o) => asleepSince(o), 'asleep'],
    ['on another day', expecting({ expected: [{ ...EXPECTED[0]!, days: [2, 3] }] }), (o) => o, 'off'],
    ['later today', expecting({ expected: [{ ...EXPECTED[0]!, byMinute: 8 * 60 + 1 }] }), (o) => o, 'off'],
    ['by this minute', expecting({ expected: [{ ...EXPECTED[0]!, byMinute: 8 * 60 }] }), (o) => o, 'not-heard'],
    ['elsewhere it is too early', expecting({ timeZone: 'America/Los_Angeles' }), (o) => o, 'off'],
    ['another truck', expecting({ expected: [{ ...EXPECTED[0]!, truck: 'T-208' }] }), (o) => o, 'off'],
  ])('%s', (_name, office, tell, reach) => {
    tell(office);
    expect(board(office).reach).toBe(reach);
  });

  function yesterday(office: Office, state: 'parked'): Office {
    office.nowMs = T0 - 12 * 60 * MIN;
    office.presence(state).presence('offline', { since: stamp(office.nowMs) });
    expect(board(office).reach).toBe('off');
    office.nowMs = T0;
    return office;
  }

  function asleepSince(office: Office): Office {
    office.nowMs = T0 - 12 * 60 * MIN;
    office.presence('asleep');
    office.nowMs = T0;
    return office;
  }
});

describe('days and minutes of a place', () => {
  it.each<[string, string, ReturnType<typeof localTime>]>([
    ['2026-03-02T14:00:00Z', 'America/Chicago', { day: 1, minute: 480, date: '2026-03-02' }],
    ['2026-03-02T05:59:00Z', 'America/Chicago', { day: 0, minute: 1_439, date: '2026-03-01' }],
    ['2026-03-02T06:00:00Z', 'America/Chicago', { day: 1, minute: 0, date: '2026-03-02' }],
    // Clocks go forward on 8 March 2026 at 02:00 there.
    ['2026-03-08T08:00:00Z', 'America/Chicago', { day: 0, minute: 180, date: '2026-03-08' }],
    ['2026-03-02T18:45:00Z', 'Asia/Kathmandu', { day: 2, minute: 30, date: '2026-03-03' }],
    ['2024-02-29T12:00:00Z', 'UTC', { day: 4, minute: 720, date: '2024-02-29' }],
  ])('%s in %s', (iso, zone, local) => {
    expect(localTime(Date.parse(iso), zone)).toEqual(local);
  });
});

describe('what is shown of a truck', () => {
  it('what does not work in its unit, in words', () => {
    const office = new Office().presence('blind', {
      degraded: ['store', 'clock'],
      bus: { main: 'down', aux: 'acknowledging' },
    });
    expect(board(office).sick).toEqual([
      'moving, and nothing is heard on its bus',
      'cannot write its store: what it tells now is not kept on the truck',
      'clock does not work',
      'bus main is down',
    ]);
    expect(board(office.presence('offline')).sick).toEqual([]);
    expect(board(new Office().presence('awake', { degraded: ['constructor'] })).sick).toEqual([
      'constructor does not work',
    ]);
  });

  it('where it is, how fresh that is, whether it moves', () => {
    const office = new Office().presence('awake').event(1, 'raised', { heldS: 5 });
    expect(board(office)).toMatchObject({
      vehicleMs: T0 - 5 * S,
      vehicle: { speed: 88.1, lat: 41.2613 },
      isMoving: true,
    });
    expect(board(office.wait(15 * MIN)).isMoving).toBe(null);
    expect(board(office.presence('parked')).isMoving).toBe(false);
    expect(board(new Office())).toMatchObject({ vehicle: null, vehicleMs: null, isMoving: null });
    const still = { vehicle: { speed: 4.9, lat: null, lon: null, age: 1 } };
    expect(board(new Office().presence('awake').event(1, 'raised', still)).isMoving).toBe(false);
  });

  it('its trailer, and how many entries its list leaves out', () => {
    expect(board(new Office().open(1, [], { more: 7 }))).toMatchObject({ trailer: 'TR-77', more: 7 });
    expect(board(new Office())).toMatchObject({ trailer: null, more: 0, heardMs: null });
  });

  it('its alerts, with what they explain and in which stage they are', () => {
    const office = new Office();
    office
      .event(1, 'raised')
      .event(2, 'raised', { alert: idOf(2), cause: idOf(1), rule: 'duals-unequal', urgency: 'pull-over' });
    office.event(3, 'raised', { alert: idOf(3), kind: 'system', rule: 'bus-silent', urgency: 'pull-over' });
    office.event(4, 'raised', { alert: idOf(4), cause: idOf(99), urgency: 'plan' }).wait(15 * MIN);
    const { alerts } = board(office);
    expect(alerts.map(({ id }) => Number(id.split('.').at(-1)))).toEqual([1, 4, 3, 2]);
    expect(alerts[0]).toMatchObject({ what: 'losing air', explains: [idOf(2)], isExplained: false, isUntaken: true });
    expect(alerts[3]).toMatchObject({ what: 'dual tires carry unequal pressure', isExplained: true, isUntaken: false });
    // Nobody else shows it.
    expect(alerts[1]).toMatchObject({ isExplained: false, cause: idOf(99) });
    expect(Object.keys(alerts[0]!)).not.toEqual(expect.arrayContaining(['told']));
  });

  it('what was asked of the truck holds at once', () => {
    const office = new Office().event(1, 'raised').wait(20 * MIN);
    office.take(attention(KEY, office.state, office.rules, office.nowMs));
    expect(board(office).alerts[0]).toMatchObject({ isUntaken: true, asked: null, isTaken: false });
    for (const what of ['take', 'snooze'] as const) {
      const wish = { alert: idOf(1), do: what, who: 'desk', note: 'x', minutes: 30 };
      const decided = decide(KEY, office.state, wish, office.nowMs);
      if ('folded' in decided) office.take(decided.folded);
    }
    expect(board(office).alerts[0]).toMatchObject({
      asked: { do: 'snooze' },
      isTaken: true,
      isSnoozed: true,
      isUntaken: false,
    });
    expect(board(office.wait(30 * MIN)).alerts[0]).toMatchObject({ isSnoozed: false, isTaken: true });
  });

  it('every rule in words, also one that this version does not know', () => {
    for (const rule of RULE_NAMES) expect(whatOf(rule)).toMatch(/\w{3}/);
    expect(whatOf('tire-losing-air')).toBe('losing air');
    expect(whatOf('hub-too-warm')).toBe('hub too warm');
    expect(whatOf('constructor')).toBe('constructor');
  });

  it.each<[string, (o: Office) => Office, boolean]>([
    ['with an alert', (o) => o.open(1, [listedOf()]), true],
    ['sick', (o) => o.presence('awake', { degraded: ['store'] }), true],
    ['offline', (o) => o.presence('offline'), true],
    ['well', (o) => o.presence('awake'), false],
    ['off', (o) => o.presence('parked').presence('offline'), false],
  ])('only where there is anything to tell: %s', (_name, tell, isShown) => {
    const office = new Office();
    tell(office);
    expect(isWorthShowing(board(office))).toBe(isShown);
  });
});

describe('the order', () => {
  const T = (truck: string, tell: (o: Office) => Office): BoardTruck => {
    const office = new Office();
    tell(office);
    return boardTruck({ ...KEY, truck }, office.state, RULES, T0 + 30 * MIN);
  };
  const raised =
    (more = {}) =>
    (o: Office) =>
      o.event(1, 'raised', more);
  const later =
    (more = {}) =>
    (o: Office) =>
      o.wait(MIN).event(1, 'raised', more);
  const worst = { urgency: 'pull-over' as const };
  const mild = { urgency: 'plan' as const };

  const IN_ORDER: BoardTruck[] = [
    T('pull-over, longest', raised(worst)),
    T('pull-over', later(worst)),
    T('next-stop, longest', raised()),
    T('next-stop', later()),
    T('plan', raised(mild)),
    T('pull-over, taken', (o) => raised(worst)(o).event(2, 'taken', { ...worst, who: 'desk' })),
    T('next-stop, taken', (o) => raised()(o).event(2, 'taken', { who: 'desk' })),
    T('next-stop, put off', (o) => raised()(o).event(2, 'snoozed', { who: 'desk', snoozeS: 7_200 })),
    T('system', raised({ ...worst, kind: 'system' })),
    T('offline', (o) => o.presence('awake').presence('offline')),
    T('late', (o) => o.presence('awake')),
    T('sick', (o) => o.presence('parked', { degraded: ['store'] })),
    T('well a', (o) => o.presence('parked')),
    T('well b', (o) => o.presence('parked')),
  ];

  it('is what nobody decided on first, most urgent and longest unattended first; then taken, then put off, then the rest', () => {
    const places = IN_ORDER.map((_, i) => i);
    fc.assert(
      fc.property(fc.shuffledSubarray(places, { minLength: places.length }), (mixed) => {
        const sorted = mixed.map((i) => IN_ORDER[i]!).sort(compareTrucks);
        expect(sorted.map((truck) => IN_ORDER.indexOf(truck))).toEqual(places);
      }),
      { numRuns: 100 },
    );
  });

  it('never leaves open which of two comes first', () => {
    for (const [i, a] of IN_ORDER.entries()) {
      for (const [j, b] of IN_ORDER.entries()) expect(Math.sign(compareTrucks(a, b)) + 0).toBe(Math.sign(i - j) + 0);
    }
    const alerts = IN_ORDER.flatMap((truck) => truck.alerts);
    for (const a of alerts) expect(compareAlerts(a, a)).toBe(0);
  });
});

describe('the whole board', () => {
  it('counts all trucks and shows those with something to tell, the most urgent first', () => {
    const well = new Office().presence('asleep').state;
    const mild = new Office().event(1, 'raised', { urgency: 'plan' }).state;
    const bad = new Office().event(1, 'raised').state;
    const of = (truck: string, state: typeof well) => ({ key: { ...KEY, truck }, state });
    const trucks = [of('a', well), of('b', mild), of('c', bad), of('d', newTruckState())];
    const snapshot = snapshotOf(trucks, () => RULES, ['the broker is away'], T0);
    expect(snapshot.trucks.map(({ truck }) => truck)).toEqual(['c', 'b']);
    expect(snapshot.counts).toEqual({ awake: 2, parked: 0, asleep: 1, off: 1, offline: 0, late: 0, 'not-heard': 0 });
    expect(snapshot).toMatchObject({ nowMs: T0, notes: ['the broker is away'] });
    expect(snapshot.untakenMs).toEqual({ northline: RULES.untakenMs });
  });
});
