import { describe, expect, it } from 'vitest';
import type { Answer, Decision } from '../../daemon/input.js';
import { drive, type Second, target } from '../support/drive.js';
import { Rig } from '../support/rig.js';
import { LAYOUT, truckOf } from '../support/truck-file.js';

const TIRE = 'tractor/2/left/outer';
const LOW = `tire-underinflated ${TIRE}`;
/** 88 % of target in one tire: plan at 603 s, the dual pair at some later second. */
const low = (): Partial<Second> => ({ tire: (i) => [i === 2 ? 0.88 * target(i) : target(i), 18] });
const standing = (): Partial<Second> => ({ ...low(), kmh: 0, rpm: 600, parkingBrake: true });

const decision = (rev: number, what: Decision['do'], more: Partial<Decision> = {}): Decision => ({
  rev,
  alert: 1,
  do: what,
  who: 'dispatch desk',
  note: null,
  minutes: what === 'snooze' ? 60 : null,
  ...more,
});
const answer = (...decisions: Decision[]): Answer => ({ trailer: null, decisions });

/** A truck with one alert, still driving at second 700. */
const driving = (): Rig => new Rig().feed(drive(0, 700, low));
/** The same, parked at the roadside and asleep. */
const asleep = (): Rig =>
  driving()
    .feed(drive(700, 760, standing))
    .advance(900_000);
const since = (rig: Rig, t: number): string[] => rig.story().filter((line) => Number(line.split(' ')[0]) * 1000 >= t);

describe('an answer of the office', () => {
  it('is decided at the next tick, each decision once, whatever comes again', () => {
    const rig = driving();
    rig.stepper.answer(700_400, answer(decision(3, 'take')));
    rig.stepper.answer(700_500, answer(decision(3, 'take')));
    rig.feed(drive(701, 705, low));
    expect(since(rig, 700_000)).toEqual([`701 taken plan ${LOW}`]);
    rig.stepper.answer(705_100, answer(decision(3, 'take'), decision(2, 'snooze')));
    rig.feed(drive(706, 710, low));
    expect(since(rig, 702_000)).toEqual([]);
    expect(rig.pipeline.state.office.rev).toBe(3);
    rig.stepper.answer(710_100, answer(decision(3, 'take'), decision(4, 'snooze')));
    rig.feed(drive(711, 720, low));
    expect(since(rig, 702_000)).toEqual([`711 snoozed plan ${LOW}`]);
  });

  it('of several decisions applies them in the order of their numbers; of two with one number the first', () => {
    const rig = driving();
    rig.stepper.answer(
      700_000,
      answer(decision(9, 'resume'), decision(8, 'snooze'), decision(8, 'take'), decision(7, 'take')),
    );
    rig.advance(700_000);
    expect(rig.events.slice(-3).map((e) => e.change)).toEqual(['taken', 'snoozed', 'resumed']);
  });

  it('at the instant of a tick is part of it', () => {
    const rig = driving();
    rig.stepper.answer(700_000, answer(decision(1, 'take')));
    rig.advance(700_000);
    expect(since(rig, 700_000)).toEqual([`700 taken plan ${LOW}`]);
  });

  it('replaces the one before, also what had not been decided yet', () => {
    const rig = driving();
    rig.stepper.answer(700_100, answer(decision(1, 'take')));
    rig.stepper.answer(700_200, answer(decision(2, 'snooze')));
    rig.advance(701_000);
    expect(since(rig, 700_000)).toEqual([`701 snoozed plan ${LOW}`]);
  });

  it('that cannot be applied is counted, uses up its number and gives no event', () => {
    const rig = driving();
    rig.stepper.answer(700_100, answer(decision(5, 'close'), decision(6, 'take', { alert: 99 })));
    rig.advance(701_000);
    expect(since(rig, 700_000)).toEqual([]);
    expect(rig.pipeline.state.counters.decisionsRefused).toBe(2);
    expect(rig.pipeline.state.office.rev).toBe(6);
    // Standing, the same decision would be good, but its number is used up.
    rig.feed(drive(701, 760, standing));
    rig.stepper.answer(760_100, answer(decision(5, 'close')));
    rig.feed(drive(761, 765, standing));
    expect(since(rig, 701_000)).toEqual([]);
    rig.stepper.answer(765_100, answer(decision(7, 'close')));
    rig.advance(766_000);
    expect(since(rig, 701_000)).toEqual([`766 closed plan ${LOW} (said-repaired)`]);
  });

  it('brings a new list of what is open', () => {
    const rig = driving();
    rig.stepper.answer(700_100, answer(decision(1, 'take'), decision(2, 'snooze')));
    rig.advance(701_000);
    const [a] = rig.effects.at(-1)!.open!.alerts;
    expect(a).toMatchObject({
      taken: { who: 'dispatch desk', agoMs: 0 },
      snoozed: { who: 'dispatch desk', leftS: 3600 },
    });
  });
});

describe('an answer while the truck is parked or asleep', () => {
  it('is decided within a second, and the truck sleeps on', () => {
    const rig = asleep();
    expect(rig.pipeline.isAsleep).toBe(true);
    rig.advance(7_000_000);
    rig.stepper.answer(7_000_300, answer(decision(1, 'close', { note: 'tire changed' })));
    expect(rig.pipeline.isAsleep).toBe(false);
    rig.advance(8_000_000);
    expect(since(rig, 900_000)).toEqual([`7001 closed plan ${LOW} (said-repaired)`]);
    expect([rig.pipeline.isAsleep, rig.stepper.lastTick]).toEqual([true, 8_000_000]);
  });

  it('changes nothing of what comes after', () => {
    const morning = (rig: Rig): string[] => since(rig.feed(drive(20_000, 21_000, low)).advance(21_000_000), 900_000);
    const quiet = morning(asleep());
    const rig = asleep();
    rig.stepper.answer(7_000_300, answer(decision(1, 'take')));
    expect(morning(rig)).toEqual([`7001 taken plan ${LOW}`, ...quiet]);
  });

  it('a snooze ends in the middle of the night', () => {
    const rig = asleep();
    rig.stepper.answer(900_100, answer(decision(1, 'snooze', { minutes: 90 })));
    rig.advance(20_000_000);
    expect(since(rig, 900_000)).toEqual([`901 snoozed plan ${LOW}`, `${901 + 5400} resumed plan ${LOW}`]);
    expect(rig.stepper.lastTick).toBe(20_000_000);
  });

  it('a snooze ends when the next trip begins', () => {
    const rig = asleep();
    rig.stepper.answer(900_100, answer(decision(1, 'snooze', { minutes: 720 })));
    rig.advance(5_000_000).feed(drive(5000, 5010, low));
    expect(since(rig, 902_000)).toEqual([`5001 resumed plan ${LOW}`]);
  });

  it('that went blind and fell asleep is not taken for standing', () => {
    const rig = driving().advance(3_000_000);
    expect([rig.pipeline.isAsleep, rig.pipeline.state.life.blindAt > 0]).toEqual([true, true]);
    // Blind made equipment alerts unsure, so that they can be closed; the bus itself is a system alert.
    const bus = rig.events.find((e) => e.rule === 'bus-silent')!.alert;
    rig.stepper.answer(3_000_100, answer(decision(1, 'close', { alert: bus }), decision(2, 'close')));
    rig.advance(3_001_000);
    expect(since(rig, 3_000_000)).toEqual([`3001 closed plan ${LOW} (said-repaired)`]);
    expect(rig.pipeline.state.counters.decisionsRefused).toBe(1);
  });
});

describe('take, snooze and numbers over a restart', () => {
  const restarted = (downMs: number | null): Rig => {
    const rig = asleep();
    rig.stepper.answer(900_100, answer(decision(4, 'take'), decision(5, 'snooze')));
    rig.advance(901_000);
    return new Rig(rig.config, { kind: 'restart', state: rig.saved(901_000), downMs });
  };

  it('of known length: the snooze goes on, and old decisions are old', () => {
    const rig = restarted(600_000);
    rig.stepper.answer(500, answer(decision(5, 'snooze'), decision(4, 'take')));
    rig.advance(1000);
    expect(rig.story()).toEqual([]);
    rig.advance(10_000_000);
    expect(rig.story()).toEqual([`3000 resumed plan ${LOW}`]);
  });

  it('of unknown length: it ends at once', () => {
    expect(restarted(null).advance(5000).story()).toEqual([`1 resumed plan ${LOW}`]);
  });

  it('decisions that came just before go with the state', () => {
    const rig = driving();
    rig.stepper.answer(700_400, answer(decision(1, 'take')));
    const next = new Rig(rig.config, { kind: 'same-run', state: rig.saved(700_400), t: 700_400 });
    expect(next.feed(drive(701, 703, low)).story()).toEqual([`701 taken plan ${LOW}`]);
  });
});

describe('the trailer that the office names', () => {
  const TRAILER_TIRE = 'trailer/1/left/outer';
  const both = (): Partial<Second> => ({
    tire: (i) => [i === 2 || i === 10 ? 0.88 * target(i) : target(i), 18],
  });
  const with_ = (trailer: string | null): Answer => ({ trailer, decisions: [] });
  const rig = (text = LAYOUT): Rig => new Rig(truckOf(text)).feed(drive(0, 700, both));

  it('closes the alerts of the other one, and forgets its wheels', () => {
    const r = rig();
    r.stepper.answer(700_100, with_('TR-80'));
    const learned = Object.entries(r.pipeline.state.tires).filter(([, tire]) => tire.intervalsMs.length > 0);
    expect(learned.every(([subject]) => subject.startsWith('tractor/'))).toBe(true);
    r.feed(drive(701, 1320, both)).advance(1_320_000);
    const low = r.events.filter((e) => e.t > 700_000 && e.rule === 'tire-underinflated');
    expect(low.map((e) => [e.change, e.subject, e.reason, e.trailer])).toEqual([
      ['closed', TRAILER_TIRE, 'unit-gone', 'TR-80'],
      ['raised', TRAILER_TIRE, null, 'TR-80'],
    ]);
  });

  it.each([
    ['that is coupled anyway', 'TR-77'],
    ['that it does not know', null],
  ])('%s changes nothing', (_, id) => {
    const r = rig();
    r.advance(700_000);
    const effects = r.effects.length;
    r.stepper.answer(700_100, with_(id));
    r.advance(701_000);
    expect(r.effects.slice(effects).filter((e) => e.open !== null)).toEqual([]);
    expect(r.pipeline.state.due).toBe(false);
  });

  it('where the truck file names none becomes known: nothing is closed', () => {
    const r = rig(LAYOUT.replace('    id: TR-77\n', ''));
    r.stepper.answer(700_100, with_('TR-80'));
    r.advance(701_000);
    expect(r.effects.at(-1)!.events).toEqual([]);
    expect(r.effects.at(-1)!.open!.trailer).toBe('TR-80');
  });

  it('goes before the truck file, also after a reload and a restart', () => {
    const r = rig();
    r.stepper.answer(700_100, with_('TR-80'));
    r.advance(701_000);
    r.stepper.reload(702_000, truckOf(LAYOUT.replace('TR-77', 'TR-78')));
    r.feed(drive(702, 704, both));
    expect(r.events.filter((e) => e.t > 701_000)).toEqual([]);
    const next = new Rig(truckOf(), { kind: 'restart', state: r.saved(704_000), downMs: 1000 });
    next.advance(1000);
    expect(next.events).toEqual([]);
    next.stepper.answer(2000, with_('TR-77'));
    next.advance(2000);
    expect(next.effects.at(-1)!.open!.trailer).toBe('TR-77');
  });
});
