import { describe, expect, it } from 'vitest';
import type { Mark, TruckConfig } from '../../config/resolved.js';
import type { Decision, RareInput } from '../../daemon/input.js';
import { drive, troubled } from '../support/drive.js';
import { type Frame, Rig } from '../support/rig.js';
import { printedSeed } from '../support/seed.js';
import { LAYOUT, truckOf } from '../support/truck-file.js';

const END_S = 2500;
const frames = [...drive(0, END_S, troubled)];
const mark = (subject: string): Mark => ({ subject, what: 'sensor-bad', who: 'workshop', untilMs: 4e12 });
const marked = (text: string, ...subjects: string[]): TruckConfig => ({ ...truckOf(text), marks: subjects.map(mark) });
const decision = (rev: number, alert: number, what: Decision['do'], minutes: number | null = null): Decision => ({
  rev,
  alert,
  do: what,
  who: 'dispatch desk',
  note: rev % 2 === 0 ? 'seen' : null,
  minutes,
});

const decisions: Decision[] = [];
/** The whole list each time, as the office publishes it. */
const answered = (t: number, trailer: string | null, ...more: Decision[]): RareInput => {
  decisions.push(...more);
  return { t, kind: 'answer', answer: { trailer, decisions: [...decisions] } };
};

/** Everything that is rare, into a drive in which everything goes wrong. */
const inputs: RareInput[] = [
  { t: 200_500, kind: 'reload', config: marked(LAYOUT, 'trailer/2/right/outer') },
  answered(430_700, null, decision(1, 1, 'take'), decision(2, 1, 'snooze', 5)),
  { t: 620_250, kind: 'reload', config: marked(LAYOUT, 'trailer/2/right/outer', 'tractor/2/right/inner') },
  { t: 700_000, kind: 'clock', zeroCalendarMs: 1_772_456_400_000 },
  answered(760_100, null, decision(3, 2, 'take'), decision(4, 3, 'snooze', 20), decision(5, 99, 'take')),
  { t: 930_000, kind: 'reload', config: marked(LAYOUT, 'trailer/2/right/outer', 'tractor/3/right') },
  answered(940_000, 'TR-80', decision(6, 5, 'snooze', 1), decision(7, 4, 'resume')),
  { t: 1_300_100, kind: 'clock', zeroCalendarMs: 1_772_456_400_250 },
  { t: 1_480_000, kind: 'reload', config: marked(LAYOUT, 'trailer/2/right/outer', 'air/secondary') },
  answered(2_380_600, null, decision(8, 1, 'close'), decision(9, 2, 'close'), decision(10, 6, 'snooze', 1)),
  { t: 2_440_300, kind: 'reload', config: marked(LAYOUT) },
];

/** All effects when the state goes through JSON into a new pipeline wherever `isCut` says so: before an input, or after. */
function relayed(isCut: (index: number) => boolean): { out: string[]; rig: Rig } {
  let rig = new Rig();
  let { config } = rig;
  const out: string[] = [];
  const handOver = (t: number): void => {
    out.push(...rig.effects.map((e) => JSON.stringify(e)));
    rig = new Rig(config, { kind: 'same-run', state: rig.saved(t), t });
  };
  let next = 0;
  const rareUpTo = (t: number): void => {
    for (; next < inputs.length && inputs[next]!.t <= t; next++) {
      const input = inputs[next]!;
      rig.advance(input.t - 1);
      // The state as a segment of the recorder begins with it, just before and just after a rare input.
      if (isCut(-1)) handOver(rig.stepper.lastTick);
      rig.stepper.rare(input);
      if (input.kind === 'reload') config = input.config;
      // At the instant of a tick that is still to come.
      if (isCut(-1)) handOver(rig.stepper.lastTick);
    }
  };
  for (const [i, frame] of frames.entries()) {
    rareUpTo(frame.t);
    rig.feed([frame]);
    if (isCut(i)) handOver(frame.t);
  }
  rareUpTo(END_S * 1000);
  rig.advance(END_S * 1000);
  out.push(...rig.effects.map((e) => JSON.stringify(e)));
  return { out, rig };
}

const uninterrupted = relayed(() => false);

/** The first effect that differs; null: none. The whole of them is some megabytes. */
function difference(a: readonly string[], b: readonly string[]): (string | undefined)[] | null {
  const i = a.findIndex((line, k) => line !== b[k]);
  return i < 0 && a.length === b.length ? null : [a[i]?.slice(0, 2000), b[i]?.slice(0, 2000)];
}

describe('answers, marks and the clock in a drive in which everything goes wrong', { timeout: 60_000 }, () => {
  it('something of each kind comes of it', () => {
    const story = uninterrupted.rig.story();
    for (const what of ['taken', 'snoozed', 'resumed', 'marked-bad', 'unit-gone', 'said-repaired'])
      expect([what, story.some((line) => line.includes(what))]).toEqual([what, true]);
    const { counters, office, marks, calendar } = uninterrupted.rig.pipeline.state;
    expect(counters.decisionsRefused).toBeGreaterThan(0);
    expect([office.rev, office.trailer, marks, calendar.wallMs - calendar.at]).toEqual([
      10,
      'TR-80',
      {},
      1_772_456_400_250,
    ]);
  });

  it('the state goes through JSON before and after each of them: the same comes out', () => {
    expect(difference(relayed((i) => i === -1).out, uninterrupted.out)).toBeNull();
  });

  it('and after frames at random', () => {
    let seed = printedSeed('random frames among rare inputs');
    const chosen = frames.map(() => {
      seed = (Math.imul(seed, 1_103_515_245) + 12_345) >>> 0;
      return (seed >>> 8) % 400 === 0;
    });
    expect(difference(relayed((i) => i < 0 || chosen[i]!).out, uninterrupted.out)).toBeNull();
  });

  it('each alert has an order: raised first, nothing after its end but reopened', () => {
    const open = new Set<number>();
    for (const e of uninterrupted.rig.events) {
      const begins = e.change === 'raised' || e.change === 'reopened';
      expect([e.change, e.alert, open.has(e.alert)]).toEqual([e.change, e.alert, !begins]);
      if (begins) open.add(e.alert);
      if (e.change === 'cleared' || e.change === 'closed') open.delete(e.alert);
    }
  });

  it('frames between them change nothing of what the state is made of: plain data, no NaN', () => {
    const { state } = uninterrupted.rig.pipeline;
    expect(JSON.parse(JSON.stringify(state))).toEqual(state);
  });

  it('a person stops no raise and no rise: without the office the same is measured', () => {
    // Only what has no mark and no other trailer: takes, snoozes and numbers are all that differs.
    const plain = new Rig().feed(frames).advance(END_S * 1000);
    const rig = new Rig();
    const office = [...inputs].filter((x) => x.kind === 'answer');
    let next = 0;
    const give = (t: number): void => {
      for (; next < office.length && office[next]!.t <= t; next++) {
        const { t: at, answer } = office[next] as Extract<RareInput, { kind: 'answer' }>;
        const kept = answer.decisions.filter((d) => d.do !== 'close');
        rig.stepper.answer(at, { trailer: null, decisions: kept });
      }
    };
    const feed = (f: Frame): void => {
      give(f.t);
      rig.feed([f]);
    };
    frames.forEach(feed);
    give(END_S * 1000);
    rig.advance(END_S * 1000);
    const said = new Set(['taken', 'snoozed', 'resumed']);
    const measured = rig.events.filter((e) => !said.has(e.change));
    expect(measured.length).toBeLessThan(rig.events.length);
    expect(measured).toEqual(plain.events);
  });
});
