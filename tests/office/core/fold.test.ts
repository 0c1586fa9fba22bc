import { describe, expect, it } from 'vitest';
import type { ReceivedReading } from '../../../adapters/mqtt/messages.js';
import type { OfficeAlert } from '../../../office/core/model.js';
import { eventOf, idOf, listedOf, MIN, Office, presenceOf, S, STORE, stamp, T0 } from './messages.js';

const NEXT = 'n3wdb0000001';
const VOLATILE = '~a1b2c3d4e5f';

describe('a list of open alerts', () => {
  it('takes the place of what was known, and keeps what only events tell', () => {
    const office = new Office().event(1, 'raised').event(2, 'taken', { who: 'desk', note: 'driver called' }).wait(MIN);
    const { evidence, advice, vehicle, urgentSinceMs } = office.alert()!;
    office.open(2, [listedOf({ unsure: true, taken: { who: 'desk', at: stamp(T0) }, measured: { silentS: 70 } })]);
    expect(office.alert()).toMatchObject({ unsure: true, measured: { silentS: 70 }, note: 'driver called' });
    expect(office.alert()).toMatchObject({ evidence, advice, vehicle, urgentSinceMs, lastSeq: 2, detailSeq: 2 });
  });

  it('ends what it does not have, but not what was raised after it', () => {
    const office = new Office().event(1, 'raised').event(4, 'raised', { alert: idOf(4), subject: 'air/service' });
    expect(office.open(3).ids).toEqual([idOf(4)]);
    expect(office.open(4).ids).toEqual([]);
  });

  it('that is older changes nothing, of the same number only when it is later', () => {
    const office = new Office().open(5, [listedOf()]);
    expect(office.open(4).ids).toEqual([idOf(1)]);
    expect(office.open(5, [], { at: stamp(T0 + 4 * S) }).ids).toEqual([idOf(1)]);
    expect(office.open(5, [], { at: stamp(T0 + 6 * S) }).ids).toEqual([]);
  });

  it('whose clock was set back in between is not older for that', () => {
    const office = new Office().open(5, [listedOf()], { synced: false });
    expect(office.open(5, [], { at: stamp(T0 - 3_600 * S), synced: true }).ids).toEqual([]);
  });

  it('an event that it has already does not open again what has ended', () => {
    const office = new Office().open(9);
    expect(office.event(1, 'raised').event(8, 'reopened').ids).toEqual([]);
    expect(office.event(10, 'reopened').ids).toEqual([idOf(1)]);
  });

  it.each<[string, number, object[], string[]]>([
    ['that was cut keeps what would stand behind its last entry', 3, [], ['behind', 'listed', 'newer']],
    ['that was not cut does not', 0, [], ['listed']],
    ['of which only mutes were cut does not', 3, [{}], ['listed']],
  ])('%s', (_name, more, muted, ids) => {
    const office = new Office();
    const known: [string, Partial<OfficeAlert>][] = [
      ['listed', { since: stamp(T0) }],
      ['newer', { since: stamp(T0 + 5 * S) }],
      ['older', { since: stamp(T0 - 5 * S) }],
      ['worse', { urgency: 'pull-over', since: stamp(T0 + 9 * S) }],
      ['behind', { urgency: 'plan', since: stamp(T0 - 9 * S) }],
    ];
    for (const [i, [alert, { urgency = 'next-stop', since }]] of known.entries()) {
      office.event(i + 1, 'raised', { alert, subject: alert, urgency, since: since! });
    }
    const mute = {
      rule: 'duals-unequal',
      subject: 'tractor/2/left/pair',
      urgency: 'plan' as const,
      by: 'tire-losing-air',
    };
    office.open(9, [listedOf({ alert: 'listed', subject: 'listed' })], { more, muted: muted.map(() => mute) });
    expect(office.ids).toEqual(ids);
  });

  it('says until when a snooze is by the clock of the office, where that of the truck is not right', () => {
    const snoozed = { who: 'desk', until: '2020-01-01T01:00:00.000Z' };
    const at = '2020-01-01T00:00:00.000Z';
    expect(new Office().open(1, [listedOf({ snoozed })], { at, synced: false }).alert()!.snoozed!.until).toBe(
      stamp(T0 + 60 * MIN),
    );
    expect(new Office().open(1, [listedOf({ snoozed })], { at }).alert()!.snoozed!.until).toBe(snoozed.until);
  });
});

describe('an event', () => {
  it('says until when a snooze is by the clock of the office, where that of the truck is not right', () => {
    const more = { who: 'desk', snoozeS: 1_800, at: '2020-01-01T00:00:00.000Z', synced: false, heldS: 60 };
    const office = new Office().event(1, 'raised').event(2, 'snoozed', more);
    expect(office.alert()!.snoozed).toEqual({ who: 'desk', until: stamp(T0 + 29 * MIN) });
  });

  it('where the truck was follows the newest by number', () => {
    const office = new Office();
    const at = (lat: number) => ({ vehicle: { speed: 80, lat, lon: -96, age: 2 } });
    office.event(3, 'raised', { ...at(43), heldS: 30 }).event(2, 'raised', { ...at(42), alert: idOf(2) });
    expect(office.state.vehicle).toMatchObject({ seq: 3, ms: T0 - 30 * S, value: { lat: 43 } });
  });

  it('of which nobody knows how late it is stands at its own time, and never in the future', () => {
    const office = new Office().event(1, 'raised', { heldS: null, at: stamp(T0 - MIN) });
    expect(office.state.vehicle!.ms).toBe(T0 - MIN);
    expect(new Office().event(1, 'raised', { heldS: null, at: stamp(T0 + MIN) }).state.vehicle!.ms).toBe(T0);
  });

  it('does not change the row that it was folded into', () => {
    const office = new Office().event(1, 'raised').open(1, [listedOf()]);
    const text = JSON.stringify(office.state);
    const { state } = office;
    office.event(2, 'worse', { urgency: 'pull-over' }).open(3).presence('parked');
    expect(JSON.stringify(state)).toBe(text);
    expect(office.state.revision).toBe(state.revision + 3);
  });
});

describe('a truck with another database', () => {
  const anew = listedOf({ alert: idOf(1, NEXT) });

  it.each(['list', 'event'])(
    'who has taken an alert has it there too, first heard by %s, and the truck is asked to know it',
    (by) => {
      const office = new Office().event(1, 'raised').event(2, 'taken', { who: 'desk', note: 'tire ordered' });
      office.open(2, [listedOf({ taken: { who: 'desk', at: stamp(T0) } })]).wait(20 * MIN);
      if (by === 'event') office.event(1, 'raised', { store: NEXT, alert: idOf(1, NEXT) });
      else office.open(1, [anew], { store: NEXT });
      expect(office.ids).toEqual([idOf(1, NEXT)]);
      expect(office.alert(idOf(1, NEXT))).toMatchObject({ note: 'tire ordered', urgentSinceMs: T0, store: NEXT });
      expect(office.state.decisions).toMatchObject([{ alert: idOf(1, NEXT), do: 'take', who: 'desk' }]);
    },
  );

  it('what it does not raise anew has ended; what the old one still sends is history', () => {
    const office = new Office().event(1, 'raised').event(2, 'raised', { alert: idOf(2), subject: 'air/service' });
    office.open(1, [anew], { store: NEXT });
    office.event(3, 'worse').event(4, 'raised', { alert: idOf(4), subject: 'air/supply' });
    expect(office.ids).toEqual([idOf(1, NEXT)]);
    expect(office.state.stores.find(({ store }) => store === STORE)).toMatchObject({ isOver: true, ranges: [[1, 4]] });
  });

  it('an old list of the one before does not come back, also when no event of it was ever seen; a newer one does', () => {
    const office = new Office().open(7, [listedOf()]).open(1, [anew], { store: NEXT });
    expect(office.open(7, [listedOf()]).ids).toEqual([idOf(1, NEXT)]);
    expect(office.open(8, [listedOf()]).ids).toEqual([idOf(1)]);
    expect(office.event(9, 'cleared').ids).toEqual([]);
  });

  it('an alert that has got worse meanwhile waits anew', () => {
    const office = new Office().event(1, 'raised', { urgency: 'plan' }).wait(20 * MIN);
    office.open(1, [{ ...anew, urgency: 'pull-over' }], { store: NEXT });
    expect(office.alert(idOf(1, NEXT))!.urgentSinceMs).toBe(T0 + 20 * MIN);
  });
});

describe('a truck that cannot write its store', () => {
  const unstored = { store: VOLATILE, stored: false as const };

  it('tells of alerts of its store under their ids, after all that it has written', () => {
    const office = new Office().event(1, 'raised').event(7, 'worse').event(1, 'unsure', unstored);
    expect(office.alert()).toMatchObject({ unsure: true, store: STORE, lastSeq: 7 });
    // Of the outbox, which is still being sent.
    office.event(8, 'worse', { urgency: 'pull-over' });
    expect(office.alert()).toMatchObject({ unsure: true });
    expect(office.event(2, 'cleared', unstored).event(9, 'worse').ids).toEqual([]);
  });

  it('and of new ones under its own; the list that comes when it can write again is the truth', () => {
    const mine = { ...unstored, alert: idOf(1, VOLATILE), subject: 'air/service', rule: 'air-low' };
    const office = new Office().event(1, 'raised').open(1, [listedOf()]);
    office.event(1, 'raised', mine).event(2, 'unsure', unstored);
    expect(office.ids).toEqual([idOf(1), idOf(1, VOLATILE)]);
    // Sent again after a connection broke: as before.
    expect(office.open(1, [listedOf()]).ids).toHaveLength(2);
    const later = listedOf({ alert: idOf(2), subject: 'air/service', rule: 'air-low' });
    office.event(2, 'raised', { alert: idOf(2), subject: 'air/service', rule: 'air-low' });
    expect(office.ids).toEqual([idOf(1), idOf(2)]);
    office.open(2, [listedOf(), later]);
    expect(office.ids).toEqual([idOf(1), idOf(2)]);
    expect(office.alert()!.unsure).toBe(false);
    // Late, through another instance.
    expect(office.event(1, 'raised', mine).ids).toEqual([idOf(1), idOf(2)]);
    // It fails once more: the numbers go on.
    expect(office.event(3, 'cleared', unstored).ids).toEqual([idOf(2)]);
  });
});

describe('what else a truck says', () => {
  it.each<[string, (office: Office) => void, number | null]>([
    ['an event', (o) => o.event(1, 'raised'), T0],
    ['a list', (o) => o.open(1), T0],
    ['the same list again', (o) => o.open(1).wait(MIN).open(1), T0],
    ['its presence', (o) => o.presence('awake'), T0],
    ['the same presence again', (o) => o.presence('awake').wait(MIN).presence('awake'), T0],
    ['that it goes offline', (o) => o.presence('offline'), T0],
    ['the will, which the broker tells', (o) => o.presence('offline', { since: null }), null],
    ['what the broker had kept', (o) => o.fold({ ...presenceOf('awake'), retained: true }), null],
  ])('it is heard by %s', (_name, tell, heardMs) => {
    const office = new Office();
    tell(office);
    expect(office.state.heardMs).toBe(heardMs);
  });

  it('presence keeps what it was before it went offline', () => {
    const office = new Office().presence('asleep').wait(MIN).presence('offline', { since: null });
    expect(office.state).toMatchObject({ lastState: 'asleep', presenceMs: T0 + MIN, presence: { state: 'offline' } });
  });

  it('of readings the newest is kept, and one from a clock that was ahead does not stay', () => {
    const office = new Office();
    const tell = (atMs: number) => {
      const message: ReceivedReading = { v: 1, at: stamp(atMs), r: { 'air/primary': [868, 1] } };
      return office.fold({ kind: 'reading', receivedMs: office.nowMs, message }).state.reading!.at;
    };
    expect(tell(T0 - MIN)).toBe(stamp(T0 - MIN));
    expect(tell(T0 - 2 * MIN)).toBe(stamp(T0 - MIN));
    expect(tell(T0 + 60 * MIN)).toBe(stamp(T0 + 60 * MIN));
    expect(tell(T0)).toBe(stamp(T0));
    expect(office.state.readingMs).toBe(T0);
  });

  it('a gap of trips is none of events', () => {
    expect(new Office().gap(0, 0, 5).state.stores).toEqual([]);
    expect(new Office().gap(3, 5, 3).state.stores).toMatchObject([{ gaps: [{ from: 3, to: 5, count: 3 }] }]);
  });
});

describe('limits', () => {
  it('of open alerts 400 are kept, the most urgent', () => {
    const office = new Office();
    for (let seq = 1; seq <= 402; seq++) {
      office.event(seq, 'raised', { alert: idOf(seq), subject: `s${seq}`, urgency: seq > 400 ? 'pull-over' : 'plan' });
    }
    expect(office.state.alerts).toHaveLength(400);
    expect(office.state.alerts.filter(({ urgency }) => urgency === 'pull-over')).toHaveLength(2);
    expect(office.state.stories.length).toBeLessThanOrEqual(400);
  });

  it('of one alert 24 changes after a list are remembered, and it stands as all of them have left it', () => {
    const office = new Office().event(1, 'raised').event(2, 'taken', { who: 'desk' }).event(3, 'chattering');
    for (let seq = 4; seq < 60; seq++) office.event(seq, seq % 2 === 0 ? 'unsure' : 'sure');
    expect(office.state.stories[0]!.steps).toHaveLength(24);
    expect(office.alert()).toMatchObject({ taken: { who: 'desk' }, chattering: true, unsure: false });
    // Older than what is remembered.
    const before = office.alert();
    expect(office.event(3, 'cleared').alert()).toEqual(before);
  });

  it('of alerts with such changes too: then older ones are history', () => {
    const office = new Office().event(5, 'raised', { urgency: 'pull-over' });
    office.state = { ...office.state, stories: [] };
    expect(office.event(4, 'worse').event(3, 'cleared').alert()).toMatchObject({ urgency: 'pull-over', lastSeq: 5 });
    expect(office.event(6, 'cleared').ids).toEqual([]);
  });

  it('events that cannot be are none of the truck’s: they leave nothing behind', () => {
    const office = new Office().event(2, 'cleared').event(1, 'raised');
    expect(office.ids).toEqual([]);
    expect(office.open(2).state.stories).toEqual([]);
    expect(eventOf(1, 'raised').alert).toBe(idOf(1));
  });
});
