import { describe, expect, it } from 'vitest';
import { drive, target, troubled } from '../support/drive.js';
import { Rig } from '../support/rig.js';

const TIRE = 'tractor/2/left/outer';
/** 88 % of target in one tire: plan after 600 s. Its readings come at 2.626 s, 12.626 s, … */
const low = () => ({ tire: (i: number): [number, number] => [i === 2 ? 0.88 * target(i) : target(i), 18] });
const parked = () => ({ kmh: 0, rpm: 600, parkingBrake: true });

/** A new run that takes up what `before` left at its second `atS`. */
const restarted = (before: Rig, atS: number, downMs: number | null): Rig =>
  new Rig(before.config, { kind: 'restart', state: before.saved(atS * 1000), downMs });

describe('time down is not evidence', () => {
  const earlier = () => new Rig().feed(drive(0, 595, low)).advance(595_000);

  it.each([
    // 592.374 s were collected; the rest counts from the first reading of this run on.
    ['a moment', 0, 11],
    ['20 s', 20_000, 11],
    // More than ten age limits (30 s each) after the last reading: from nothing.
    ['an hour', 3_600_000, 603],
    ['nobody knows how long', null, 603],
  ])('%s', (_, downMs, raisedS) => {
    const rig = restarted(earlier(), 595, downMs).feed(drive(0, 700, low));
    const raised = rig.events.find((e) => e.rule === 'tire-underinflated');
    expect([raised?.subject, raised?.t]).toEqual([TIRE, raisedS * 1000]);
  });
});

describe('an open alert after a restart', () => {
  const earlier = () => new Rig().feed(drive(0, 700, low)).advance(700_000);

  it('says nothing while nothing is heard, whatever the time', () => {
    const rig = restarted(earlier(), 700, null).advance(600_000);
    expect(rig.story()).toEqual([]);
  });

  it('keeps its number, and says nothing more while it goes on', () => {
    const rig = restarted(earlier(), 700, 30_000)
      .feed(drive(0, 200, low))
      .advance(200_000);
    expect(rig.story()).toEqual([]);
    const mended = restarted(earlier(), 700, 30_000)
      .feed(drive(0, 700, () => ({})))
      .advance(700_000);
    const first = mended.events.find((e) => e.rule === 'tire-underinflated')!;
    expect(first).toMatchObject({ change: 'cleared', alert: 1, subject: TIRE });
    // Since when: measured good for 600 s from the first reading of this run.
    expect(first.t).toBe(603_000);
    expect(first.sinceAgoMs).toBe(603_000 + 30_000 + (700_000 - 603_000));
  });

  it('becomes unsure when its sensor stays silent on the road', () => {
    const mute = () => ({ tire: (i: number): [number, number] | null => (i === 2 ? null : [target(i), 18]) });
    const rig = restarted(earlier(), 700, 30_000)
      .feed(drive(0, 100, mute))
      .advance(100_000);
    // The pair has lost one of its two sensors as well.
    expect(rig.story()).toEqual([
      `61 unsure plan tire-underinflated ${TIRE}`,
      '61 unsure plan duals-unequal tractor/2/left/pair',
    ]);
  });

  it('numbers go on', () => {
    const rig = restarted(earlier(), 700, 1000).feed(drive(0, 100, () => ({ primaryKpa: 380, secondaryKpa: 380 })));
    expect(rig.events.find((e) => e.rule === 'air-low')!.alert).toBe(3);
  });
});

describe('trips and restarts', () => {
  it('a trip whose end was not seen is told once, closed where it was last heard', () => {
    const before = new Rig().feed(drive(0, 100, low));
    const rig = restarted(before, 100, 60_000).feed(drive(0, 20, parked));
    const trips = rig.effects.flatMap((e) => (e.trip === null ? [] : [e.trip]));
    expect(trips).toEqual([
      expect.objectContaining({ trip: 1, provisional: false, startAt: 1000 - 160_000, endAt: -60_000 - 50, alerts: 0 }),
    ]);
    expect(rig.pipeline.state.trips.trip).toBe(2);
  });

  it('also when the state is saved once more before the first tick', () => {
    const before = new Rig().feed(drive(0, 100, low));
    const again = restarted(restarted(before, 100, 60_000), 0, 1000).feed(drive(0, 20, parked));
    expect(again.effects.flatMap((e) => (e.trip === null ? [] : [e.trip.trip]))).toEqual([1]);
  });

  it.each([
    ['four hours down make a cold start', 4 * 3_600_000, true],
    ['two do not', 2 * 3_600_000, false],
    ['nor does a time that nobody knows', null, false],
  ])('%s', (_, downMs, cold) => {
    const before = new Rig().feed(drive(0, 100, low)).advance(300_000);
    const rig = restarted(before, 300, downMs).feed(drive(0, 200, () => ({})));
    const bases = Object.values(rig.pipeline.state.tires).map((tire) => tire.baseColdKpa > 0);
    expect(new Set(bases)).toEqual(new Set([cold]));
  });

  it('a start at night without a drive does not warm the tires', () => {
    const evening = new Rig().feed(drive(0, 100, low)).advance(300_000);
    const night = restarted(evening, 300, 2 * 3_600_000).feed(drive(0, 60, () => ({ ...parked(), rpm: 0 })));
    const morning = restarted(night.advance(200_000), 200, 2 * 3_600_000).feed(drive(0, 200, () => ({})));
    expect(Object.values(morning.pipeline.state.tires).every((tire) => tire.baseColdKpa > 0)).toBe(true);
  });
});

describe('a restart in the middle of everything', () => {
  it.each([100, 700, 950, 1560, 1700, 1815, 2100, 2365])(
    'at second %d: what was open is told on with its number, nothing twice',
    (cutS) => {
      const frames = [...drive(0, 2500, troubled)];
      const first = new Rig().feed(frames.filter((f) => f.t < cutS * 1000)).advance(cutS * 1000);
      const rig = restarted(first, cutS, 5000);
      rig.feed(frames.filter((f) => f.t >= cutS * 1000).map((f) => ({ ...f, t: f.t - cutS * 1000 })));
      rig.advance((2600 - cutS) * 1000);
      const open = new Map<number, string>();
      for (const e of [...first.events, ...rig.events]) {
        const key = `${e.rule} ${e.subject}`;
        if (e.change === 'raised') {
          expect([key, [...open.values()].includes(key)]).toEqual([key, false]);
          open.set(e.alert, key);
        } else if (e.change === 'reopened') open.set(e.alert, key);
        else expect([e.change, open.get(e.alert)]).toEqual([e.change, key]);
        if (e.change === 'cleared' || e.change === 'closed') open.delete(e.alert);
      }
      expect(rig.pipeline.state.book.nextOrdinal - 1).toBe(
        Math.max(...[...first.events, ...rig.events].map((e) => e.alert)),
      );
    },
  );
});
