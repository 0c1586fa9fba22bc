import { describe, expect, it } from 'vitest';
import { LogParser } from '../../adapters/can/log-parser.js';
import { drive, target, troubled } from '../support/drive.js';
import { type Frame, Rig } from '../support/rig.js';

/** A minute and a half with quick rules: a rapid leak, air loss, a stop lamp, a dragging brake, silence on the road. */
const short = [
  ...drive(0, 95, (s) => ({
    tire: (i) => [i === 2 ? Math.max(300, target(i) - (s > 5 ? s - 5 : 0)) : target(i), 18],
    primaryKpa: s > 30 && s < 60 ? 400 : 800,
    redLamp: s > 15 && s < 35,
    stroke: (i) => (i === 4 && s > 10 && s < 40 ? 3 : 0),
    silent: s > 70 && s < 85,
  })),
];

const US = 1_000_000;
/** 2026-03-02T13:00:00Z in seconds. */
const WALL_S = 1_772_456_400;

const hex = (data: Uint8Array) => Buffer.from(data).toString('hex').toUpperCase();
const stampOf = (us: number) => `${Math.floor(us / US)}.${String(us % US).padStart(6, '0')}`;
const texts = new Map<Frame, string>();
/** Microseconds since 1970 are whole numbers far below 2^53. */
function logLine(us: number, f: Frame): string {
  const text = texts.get(f) ?? `${f.id.toString(16).toUpperCase().padStart(8, '0')}#${hex(f.data)}`;
  texts.set(f, text);
  return `(${stampOf(us)}) can0 ${text}\n`;
}

function replay(text: string, endT: (lastT: number) => number): Rig {
  const rig = new Rig();
  const parser = new LogParser({
    interest: rig.pipeline.interest,
    busOf: () => 0,
    sink: rig.stepper,
    onSeam: (t) => rig.stepper.seam(t),
  });
  parser.push(Buffer.from(text));
  parser.end();
  return rig.advance(endT(parser.lastT));
}

describe('a start at any fraction of a second (design.md, "Stream time")', { timeout: 30_000 }, () => {
  it('live, and replayed from what the recorder wrote, gives the same events: 100 phases', () => {
    let expected: string[] | null = null;
    for (let phase = 0; phase < 100; phase++) {
      // Microseconds: the program starts somewhere in a second; frames come with fractions of a millisecond of their own.
      const startUs = WALL_S * US + phase * 10_000 + 137;
      const zeroUs = Math.floor(startUs / US) * US;
      const live = new Rig();
      let text = '';
      for (const [i, f] of short.entries()) {
        const nowUs = startUs + f.t * 1000 + ((i * 7919) % 1000);
        const t = Math.max(Math.floor((nowUs - startUs) / 1000), live.stepper.lastTick);
        live.feed([{ ...f, t }]);
        text += logLine(zeroUs + t * 1000, f);
      }
      const last = live.stepper.lastTick;
      const replayed = replay(text, () => last);
      expect(replayed.canonical()).toEqual(live.canonical());
      expected ??= live.canonical();
      expect(live.canonical()).toEqual(expected);
    }
    expect(expected!.length).toBeGreaterThan(8);
  });

  it('a foreign log moved by any fraction gives each alert the same changes, within the second that ticks have', () => {
    const frames = [...drive(0, 1000, troubled)];
    /** Changes by alert, each with its time in the log. */
    const storyAt = (phaseUs: number) => {
      const startUs = WALL_S * US + phaseUs;
      const rig = replay(frames.map((f) => logLine(startUs + f.t * 1000, f)).join(''), (t) => t);
      const story = new Map<string, [string, number][]>();
      for (const e of rig.events) {
        const key = `${e.rule} ${e.subject}`;
        story.set(key, [...(story.get(key) ?? []), [`${e.change} ${e.urgency}`, e.t - phaseUs / 1000]]);
      }
      return story;
    };
    const expected = storyAt(0);
    expect(expected.size).toBeGreaterThan(8);
    for (const phase of [1000, 137_000, 250_000, 400_500, 483_001, 620_000, 777_777, 899_999, 999_000]) {
      const seen = storyAt(phase);
      expect([...seen.keys()].sort()).toEqual([...expected.keys()].sort());
      for (const [key, changes] of expected) {
        const others = seen.get(key)!;
        expect([key, ...others.map(([what]) => what)]).toEqual([key, ...changes.map(([what]) => what)]);
        for (const [i, [, t]] of changes.entries()) expect(Math.abs(others[i]![1] - t)).toBeLessThanOrEqual(1000);
      }
    }
  });
});

describe('steps of time', () => {
  /** 88 % of target in one tire: plan after 600 s. */
  const low = () => ({ tire: (i: number): [number, number] => [i === 2 ? 0.88 * target(i) : target(i), 18] });
  const raisedAt = (rig: Rig): number | undefined => rig.events.find((e) => e.rule === 'tire-underinflated')?.t;
  /** Readings of that tire come at 2.626 s, 12.626 s, … */
  it('evidence runs through without a step', () => {
    expect(raisedAt(new Rig().feed(drive(0, 700, low)))).toBe(603_000);
  });

  it('stops at a seam, keeps what it has, and goes on with the first reading after it', () => {
    const rig = new Rig().feed(drive(0, 595, low));
    rig.stepper.seam(594_951);
    rig.feed(drive(595, 700, low));
    expect(rig.pipeline.state.counters.seams).toBe(1);
    // 592.325 s until the seam; the rest from the reading at 602.626 s on.
    expect(raisedAt(rig)).toBe(611_000);
  });

  it('the stamps of a log that jump back make a seam, and no event is lost or doubled by it', () => {
    const frames = [...drive(0, 700, low)];
    const line = (f: Frame, wallS: number) => logLine(wallS * US + f.t * 1000, f);
    const text = [
      ...frames.filter((f) => f.t < 300_000).map((f) => line(f, WALL_S)),
      ...frames.filter((f) => f.t >= 300_000).map((f) => line(f, WALL_S - 5000)),
    ].join('');
    const rig = replay(text, (t) => t);
    expect(rig.of('tire-underinflated')).toEqual([['raised', 'plan']]);
    expect(raisedAt(rig)! - 603_000).toBeGreaterThan(0);
    expect(raisedAt(rig)! - 603_000).toBeLessThan(12_000);
  });

  it('a gap of a day: the truck falls asleep, evidence starts anew, nothing is invented', () => {
    const day = 86_400;
    const rig = new Rig().feed(drive(0, 540, low)).feed(drive(day, day + 700, low));
    expect(rig.effects.flatMap((e) => (e.life === null ? [] : [e.life]))).toEqual(['blind', 'asleep', 'awake']);
    expect(rig.story().filter((line) => line.includes('raised'))).toEqual([
      '550 raised plan bus-silent bus/main',
      // After a day the tires are cold: the pair is judged after three minutes.
      `${day + 181} raised plan duals-unequal tractor/2/left/pair`,
      `${day + 603} raised plan tire-underinflated tractor/2/left/outer`,
    ]);
  });
});
