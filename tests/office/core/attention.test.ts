import { describe, expect, it } from 'vitest';
import { attention, nextLookMs } from '../../../office/core/attention.js';
import { decide } from '../../../office/core/decide.js';
import type { FleetRules, Wish } from '../../../office/core/model.js';
import { channel, idOf, KEY, listedOf, MIN, Office, S, STORE, stamp, T0 } from './messages.js';

const DESK = channel('desk', 'pull-over', 'next-stop');
const NIGHT = channel('night', 'pull-over');

class Watched extends Office {
  constructor(rules: Partial<FleetRules> = {}) {
    super({ channels: [DESK, NIGHT], ...rules });
  }

  look(): this {
    return this.take(attention(KEY, this.state, this.rules, this.nowMs));
  }

  /** Looks as often as it says itself that it must. */
  pass(ms: number): this {
    const end = this.nowMs + ms;
    for (let looks = 0; looks < 50; looks++) {
      const at = nextLookMs(this.state, this.rules, this.nowMs);
      if (at === null || at > end) break;
      this.nowMs = Math.max(at, this.nowMs + 1);
      this.look();
    }
    this.nowMs = end;
    return this.look();
  }

  wish(what: Wish['do'], minutes: number | null = null): this {
    const decided = decide(KEY, this.state, { alert: idOf(1), do: what, who: 'desk', note: null, minutes }, this.nowMs);
    if ('refused' in decided) throw new Error(decided.refused);
    return this.take(decided.folded);
  }

  /** Only what is said of alerts that nobody takes. */
  get untaken(): string[] {
    return this.told.filter((line) => line.startsWith('untaken'));
  }
}

const nextStop = (): Watched => new Watched().event(1, 'raised');
const pullOver = (): Watched => new Watched().event(1, 'raised', { urgency: 'pull-over' });

describe('an alert that nobody takes', () => {
  it.each<[string, () => Watched, number, string[]]>([
    ['pull-over', pullOver, 2 * MIN, ['untaken desk 1 pull-over', 'untaken night 1 pull-over']],
    ['next-stop', nextStop, 15 * MIN, ['untaken desk 1 next-stop']],
    [
      'of the unit itself',
      () => new Watched().event(1, 'raised', { kind: 'system' }),
      15 * MIN,
      ['untaken desk 1 next-stop'],
    ],
  ])('%s is told once more after its time, and then no more', (_name, raised, ms, told) => {
    const office = raised()
      .wait(ms - 1)
      .look();
    expect(office.untaken).toEqual([]);
    office.wait(1).look();
    expect(office.untaken).toEqual(told);
    expect(office.alert()!.untakenMs).toBe(T0 + ms);
    expect(office.pass(24 * 60 * MIN).untaken).toEqual(told);
    expect(attention(KEY, office.state, office.rules, office.nowMs)).toBe(null);
  });

  it('of a fleet that gives no time is not called, nor is a plan', () => {
    const never = { plan: null, 'next-stop': null, 'pull-over': null };
    expect(new Watched({ untakenMs: never }).event(1, 'raised').pass(60 * MIN).untaken).toEqual([]);
    expect(new Watched().event(1, 'raised', { urgency: 'plan' }).pass(60 * MIN).untaken).toEqual([]);
  });

  it('is called on the board also where no channel wants it', () => {
    const office = new Watched({ channels: [] }).event(1, 'raised').pass(20 * MIN);
    expect(office.alert()!.untakenMs).toBe(T0 + 15 * MIN);
    expect(office.notices).toEqual([]);
  });

  it('begins anew when it gets worse, and not when it gets better', () => {
    const office = nextStop()
      .pass(20 * MIN)
      .event(2, 'worse', { urgency: 'pull-over' });
    expect(office.pass(2 * MIN - 1).untaken).toHaveLength(1);
    expect(office.pass(1).untaken.slice(1)).toEqual(['untaken desk 1 pull-over', 'untaken night 1 pull-over']);
    office.event(3, 'better', { urgency: 'next-stop' });
    expect(office.pass(60 * MIN).untaken).toHaveLength(3);
    office.event(4, 'worse', { urgency: 'pull-over' });
    expect(office.pass(2 * MIN).untaken).toHaveLength(5);
  });

  it('that gets better before its time keeps the time for which it has waited', () => {
    const office = pullOver().wait(MIN).event(2, 'better', { urgency: 'next-stop' });
    expect(office.pass(14 * MIN - 1).untaken).toEqual([]);
    expect(office.pass(1).untaken).toEqual(['untaken desk 1 next-stop']);
  });
});

describe('nobody is called for an alert', () => {
  it.each<[string, (office: Watched) => Office]>([
    ['that is taken', (o) => o.event(2, 'taken', { who: 'desk' })],
    ['that is asked to be taken, though the truck has not confirmed it', (o) => o.wish('take')],
    ['that is taken in the list', (o) => o.open(2, [listedOf({ taken: { who: 'desk', at: stamp(T0) } })])],
    [
      'that another open one explains',
      (o) => o.event(2, 'raised', { alert: idOf(2), urgency: 'plan' }).event(3, 'sure', { cause: idOf(2) }),
    ],
    ['that is over', (o) => o.event(2, 'cleared')],
    ['that is put off', (o) => o.event(2, 'snoozed', { who: 'desk', snoozeS: 7_200 })],
    ['that is asked to be put off', (o) => o.wish('snooze', 120)],
  ])('%s', (_name, tell) => {
    const office = nextStop();
    tell(office);
    expect(office.pass(60 * MIN).untaken).toEqual([]);
  });

  it('whose cause is over any more: then somebody is', () => {
    const office = nextStop()
      .event(2, 'raised', { alert: idOf(2), urgency: 'plan' })
      .event(3, 'sure', { cause: idOf(2) });
    office.pass(20 * MIN).event(4, 'cleared', { alert: idOf(2) });
    expect(office.look().untaken).toEqual(['untaken desk 1 next-stop']);
  });
});

describe('an alert that was put off', () => {
  it('waits anew from the end of the snooze, told by the truck', () => {
    const office = nextStop()
      .pass(15 * MIN)
      .event(2, 'snoozed', { who: 'desk', snoozeS: 3_600 });
    office.pass(60 * MIN).event(3, 'resumed');
    expect(office.pass(15 * MIN - 1).untaken).toHaveLength(1);
    expect(office.pass(1).untaken).toHaveLength(2);
    expect(office.pass(600 * MIN).untaken).toHaveLength(2);
  });

  it('or by the clock, when the truck is not heard', () => {
    const office = nextStop().pass(MIN).wish('snooze', 60);
    expect(office.pass(75 * MIN - 1).untaken).toEqual([]);
    expect(office.pass(1).untaken).toEqual(['untaken desk 1 next-stop']);
    expect(office.pass(600 * MIN).untaken).toHaveLength(1);
  });
});

describe('a message to a channel', () => {
  it('comes once for each alert, when it first reaches what the channel wants, and when it is over', () => {
    const office = new Watched().event(1, 'raised', { urgency: 'plan' }).event(2, 'worse');
    office.event(3, 'worse', { urgency: 'pull-over' }).event(4, 'better').event(5, 'worse', { urgency: 'pull-over' });
    office.event(6, 'better', { urgency: 'plan' }).event(7, 'cleared');
    expect(office.told).toEqual([
      'raised desk 1 next-stop',
      'raised night 1 pull-over',
      'ended desk 1 cleared',
      'ended night 1 cleared',
    ]);
  });

  it('does not come for what came and went in one batch, as after hours without a line', () => {
    const office = new Watched();
    const messages = office.event(9, 'unsure', { alert: idOf(9) });
    expect(messages.told).toHaveLength(1);
    const backlog = new Watched().open(50, [listedOf()]);
    for (let seq = 2; seq < 50; seq++)
      backlog.event(seq, seq % 2 === 0 ? 'raised' : 'cleared', { alert: idOf(seq - (seq % 2)) });
    expect(backlog.event(1, 'raised').told).toEqual(['raised desk 1 next-stop']);
  });

  it('of an alert that a list told first waits ten seconds for its event, and has its advice then', () => {
    const office = new Watched().open(1, [listedOf()]).wait(5 * S);
    expect(office.look().told).toEqual([]);
    expect(office.event(1, 'raised').told).toEqual(['raised desk 1 next-stop']);
    expect(office.notices[0]!.alert.advice).toBe('advice of 1');
    const alone = new Watched().open(1, [listedOf()]);
    expect(alone.pass(10 * S - 1).told).toEqual([]);
    expect(alone.pass(1).told).toEqual(['raised desk 1 next-stop']);
    expect(alone.event(1, 'raised').pass(MIN).told).toHaveLength(1);
  });

  it.each<[string, object, string]>([
    ['cleared', { change: 'cleared' }, 'cleared'],
    ['closed', { change: 'closed', reason: 'said-repaired' }, 'said-repaired'],
  ])('of an alert that a list lacks first says how it ended when the event comes: %s', (_name, end, ending) => {
    const office = nextStop()
      .open(2)
      .wait(5 * S)
      .look();
    expect(office.told).toHaveLength(1);
    office.event(2, 'cleared', end);
    expect(office.pass(MIN).told.slice(1)).toEqual([`ended desk 1 ${ending}`]);
  });

  it('or that it is gone, when no event says why', () => {
    const office = nextStop().open(2);
    expect(office.pass(10 * S - 1).told).toHaveLength(1);
    expect(office.pass(1).told.slice(1)).toEqual(['ended desk 1 gone']);
  });

  it('that is back before it was called gone was never away', () => {
    const office = nextStop().open(2).wait(S).event(3, 'reopened');
    expect(office.pass(14 * MIN).told).toEqual(['raised desk 1 next-stop']);
    expect(office.event(4, 'cleared').told.slice(1)).toEqual(['ended desk 1 cleared']);
  });

  it('comes again for an alert that comes back: the last that was told is that it is over', () => {
    expect(nextStop().event(2, 'cleared').event(3, 'reopened').told).toEqual([
      'raised desk 1 next-stop',
      'ended desk 1 cleared',
      'raised desk 1 next-stop',
    ]);
  });

  it('does not come for what another alert explains, until it does not any more', () => {
    const office = new Watched().event(1, 'raised', { cause: idOf(9) });
    expect(office.pass(MIN).told).toEqual([]);
    expect(office.open(2, [listedOf()]).told).toEqual(['raised desk 1 next-stop']);
  });

  it('does not come twice when the truck has another database', () => {
    const office = nextStop()
      .open(1, [listedOf({ alert: idOf(1, 'n3w') })], { store: 'n3w' })
      .pass(MIN);
    expect(office.told).toEqual(['raised desk 1 next-stop']);
    office.event(2, 'cleared', { store: 'n3w', alert: idOf(1, 'n3w') });
    expect(office.told.slice(1)).toEqual(['ended desk 1 cleared']);
    expect(office.state.alerts).toEqual([]);
    expect(STORE).not.toBe('n3w');
  });

  it('but says that an alert is over that the new database does not have', () => {
    expect(nextStop().open(0, [], { store: 'n3w' }).pass(MIN).told.slice(1)).toEqual(['ended desk 1 gone']);
  });

  it.each<[FleetRules['position'], number | null, number | null]>([
    ['exact', 41.2613, -96.1367],
    ['rounded', 41.26, -96.14],
    ['none', null, null],
  ])('gives the place of the truck as the fleet wants it: %s', (position, lat, lon) => {
    const office = new Watched({ position })
      .event(1, 'raised')
      .pass(20 * MIN)
      .event(2, 'cleared');
    expect(office.notices.map(({ why }) => why)).toEqual(['raised', 'untaken', 'ended']);
    for (const { alert } of office.notices) expect(alert.vehicle).toMatchObject({ lat, lon, speed: 88.1 });
    expect(office.state.vehicle!.value).toMatchObject({ lat: 41.2613, lon: -96.1367 });
  });

  it('names the truck, its trailer and the moment', () => {
    const office = new Watched().open(0).wait(S).event(1, 'raised');
    expect(office.notices[0]).toMatchObject({ ...KEY, trailer: 'TR-77', ms: T0 + S, ending: null });
  });
});
