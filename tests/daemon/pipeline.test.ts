import { describe, expect, it } from 'vitest';
import { isDeclaredUnit } from '../../daemon/alerts/rounding.js';
import { RULES } from '../../daemon/alerts/rules.js';
import type { TickEffects } from '../../daemon/effects.js';
import { BASE_PGNS, interestTable } from '../../daemon/j1939/interest.js';
import { drive, troubled } from '../support/drive.js';
import { morningRunText, Recording } from '../support/recording.js';
import { type Frame, Rig } from '../support/rig.js';
import { printedSeed } from '../support/seed.js';

const END_S = 2500;
const frames = [...drive(0, END_S, troubled)];
const whole = new Rig().feed(frames).advance(END_S * 1000);

const lines = (effects: readonly TickEffects[]): string[] => effects.map((e) => JSON.stringify(e));

/** Everything that comes out when the state goes through JSON into a new pipeline wherever `cut` says so. */
function relayed(cut: { tick?: (t: number) => boolean; frame?: (index: number) => boolean }): string[] {
  let rig = new Rig();
  const out: string[] = [];
  const handOver = (t: number): void => {
    out.push(...lines(rig.effects));
    rig = new Rig(rig.config, { kind: 'same-run', state: rig.saved(t), t });
  };
  let tick = 1000;
  for (const [i, frame] of frames.entries()) {
    for (; tick <= frame.t; tick += 1000) {
      if (!cut.tick?.(tick)) continue;
      rig.advance(tick);
      handOver(tick);
    }
    rig.feed([frame]);
    if (cut.frame?.(i)) handOver(frame.t);
  }
  rig.advance(END_S * 1000);
  return [...out, ...lines(rig.effects)];
}

/** They take standing, cycles of the compressor or days: tests/daemon/monitors has them. */
const SLOW = ['air-leaking', 'air-builds-slowly', 'air-cut-in-low', 'air-cut-out-high', 'compressor-overworked'];
/** Judged on what this truck does not send, or would need days: each has a drive of its own. */
const ELSEWHERE = [
  ...['tire-overinflated', 'tire-sensor-fault', 'layout-mismatch', 'trailer-not-seen', 'bus-off', 'source-silent'],
  ...['brake-stroke-uneven', 'brake-stroke-growing', 'brake-lining-low', 'brake-hot', 'brake-sensor-fault'],
];

describe('a drive in which everything goes wrong', () => {
  it('gives at least one alert of every rule that is judged', () => {
    const raised = new Set(whole.events.filter((e) => e.change === 'raised').map((e) => e.rule));
    expect(
      RULES.map((r) => r.name).filter((name) => !raised.has(name) && ![...SLOW, ...ELSEWHERE].includes(name)),
    ).toEqual([]);
  });

  it('is the same each time', () => {
    expect(
      new Rig()
        .feed(frames)
        .advance(END_S * 1000)
        .canonical(),
    ).toEqual(whole.canonical());
  });

  it('keeps events of a tick in the order of the rule table', () => {
    for (const { events } of whole.effects) {
      const order = events.map((e) => RULES.findIndex((r) => r.name === e.rule));
      expect(order).toEqual([...order].sort((a, b) => a - b));
    }
  });

  it('every event has declared units, twelve points at most, the first and last among them, and plain words', () => {
    expect(whole.events.length).toBeGreaterThan(40);
    for (const e of whole.events) {
      const units = [e.measured !== null && 'unit' in e.measured ? e.measured.unit : '', e.evidence?.unit ?? ''];
      expect([e.rule, ...units.filter((unit) => !isDeclaredUnit(unit))]).toEqual([e.rule]);
      expect(e.evidence?.points.length ?? 0).toBeLessThanOrEqual(12);
      expect(`${e.subject}${e.place}`).toMatch(/^[\x20-\x7e]+$/);
      // Units such as °C and the comparison signs of a limit may stand in words of our own.
      expect(`${e.advice}${e.basis}`).toMatch(/^[\x20-\x7e°≥≤]+$/);
      expect(e.t % 1000).toBe(0);
      expect(Buffer.byteLength(JSON.stringify(e))).toBeLessThan(4096);
    }
  });

  it('a list of open alerts comes with every event', () => {
    for (const e of whole.effects) if (e.events.length > 0) expect(e.open?.t).toBe(e.t);
  });

  it('an open fault code whose unit falls silent becomes unsure, and is never cleared by the silence', () => {
    const rig = new Rig().feed(drive(0, 60, () => ({ codes: [[117, 18]] })));
    // From here on nobody sends DM1.
    rig.feed([...drive(60, 700, () => ({}))].filter((f) => ((f.id >>> 8) & 0xffff) !== 65226)).advance(700_000);
    // Its last DM1 is of second 59; five seconds later it is old, and a minute after that it is missed.
    expect(rig.story()).toEqual([
      '20 raised plan fault-code fault/main/48/117/18',
      '125 unsure plan fault-code fault/main/48/117/18',
    ]);
  });

  it('is of interest as far as the signal table and the transport say', () => {
    expect(whole.pipeline.interest.map((plan) => Math.min(plan, 1))).toEqual(interestTable(BASE_PGNS));
  });

  it('has a healthy twin that gives no event at all', () => {
    const rig = new Rig().feed(drive(0, 3600, () => ({}))).advance(3_600_000);
    expect(rig.story()).toEqual([]);
  });
});

describe('the state goes through JSON into a new pipeline', { timeout: 60_000 }, () => {
  const uninterrupted = lines(whole.effects);

  it.each([
    ['start and cranking', 15, 35],
    ['a leak that turns rapid', 930, 950],
    ['air loss, fault code, stop lamp', 1600, 1640],
    ['blind and back', 1805, 1845],
    ['parked and asleep', 2365, 2372],
  ])('after every tick: %s', (_, from, to) => {
    expect(relayed({ tick: (t) => t >= from * 1000 && t <= to * 1000 })).toEqual(uninterrupted);
  });

  it('after every frame of a few seconds', () => {
    const near = (t: number) => Math.abs(t - 473_000) < 3000 || Math.abs(t - 1_831_000) < 3000;
    expect(relayed({ frame: (i) => near(frames[i]!.t) })).toEqual(uninterrupted);
  });

  it('after frames at random', () => {
    let seed = printedSeed('random frames');
    const chosen = frames.map(() => {
      seed = (Math.imul(seed, 1_103_515_245) + 12_345) >>> 0;
      return (seed >>> 8) % 250 === 0;
    });
    expect(relayed({ frame: (i) => chosen[i]! })).toEqual(uninterrupted);
  });

  it('into a run whose stream time begins elsewhere: the same events, moved', () => {
    const cutS = 930;
    const shift = 600_000;
    const first = new Rig().feed(frames.filter((f) => f.t < cutS * 1000)).advance(cutS * 1000);
    const t = cutS * 1000 - shift;
    const second = new Rig(first.config, { kind: 'same-run', state: first.saved(cutS * 1000), t });
    const moved = (f: Frame): Frame => ({ ...f, t: f.t - shift });
    second.feed(frames.filter((f) => f.t >= cutS * 1000).map(moved)).advance(END_S * 1000 - shift);
    const back = second.events.map((e) => ({ ...e, t: e.t + shift }));
    expect(back).toEqual(whole.events.filter((e) => e.t > cutS * 1000));
  });

  it('of a recorded shift: taken up at any minute it goes on in the same way', () => {
    const shift = new Recording(morningRunText());
    const rig = new Rig();
    shift.feed(rig.stepper);
    rig.advance(10_900_000);
    const [from, to] = [4_790_000, 5_100_000];
    const first = new Rig();
    shift.feed(first.stepper, 0, shift.from(from));
    const second = new Rig(first.config, { kind: 'same-run', state: first.saved(from - 1), t: from - 1 });
    shift.feed(second.stepper, shift.from(from), shift.from(to));
    const within = rig.canonical().filter((_, i) => rig.events[i]!.t >= from && rig.events[i]!.t < to);
    expect(within.length).toBeGreaterThan(0);
    expect(second.canonical()).toEqual(within);
  });
});
