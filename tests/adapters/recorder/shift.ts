import type { TruckConfig } from '../../../config/resolved.js';
import type { Decision } from '../../../daemon/input.js';
import { broadcast, dm1Payload } from '../../../simulator/encode.js';
import { Random } from '../../../simulator/random.js';
import { drive, type Second, target } from '../../support/drive.js';
import type { Frame } from '../../support/rig.js';
import { truckOf } from '../../support/truck-file.js';
import { type LiveRun, TWO_BUSES } from './live-run.js';

export const SHIFT_S = 300;
export const SEGMENT_MS = 40_000;
/** The story below is told in so many seconds, and lived this much faster. */
const STORY_S = 480;
const HASTE = STORY_S / SHIFT_S;

/** Delays of seconds, so that five minutes have something to tell in each of them. */
const QUICK = `rules:
  tire-hot: {levels: {next-stop: {raiseAfter: 5 s, clearAfter: 10 s}}}
  air-low: {levels: {pull-over: {raiseAfter: 2 s, clearAfter: 10 s}}}
`;
export const BEFORE = truckOf(TWO_BUSES + QUICK);
export const AFTER = truckOf(
  `${TWO_BUSES}${QUICK}  tire-underinflated: {levels: {plan: {raise: 89 %, clear: 91 %}}}\n`,
);

const between = (s: number, from: number, to: number): boolean => s >= from && s < to;

/** Troubles of many kinds, and some seconds without a frame. */
function troubled(second: number): Partial<Second> {
  const s = second * HASTE;
  const parked = s < 20 || s >= 440;
  const braking = !parked && s % 30 < 4;
  return {
    silent: between(s, 300, 330) || s >= 460,
    rpm: s < 5 ? 0 : s < 8 ? 200 : parked ? 600 : 1300,
    kmh: parked ? 0 : 80,
    parkingBrake: parked,
    brakeKpa: braking ? 240 : 0,
    primaryKpa: between(s, 200, 260) ? Math.max(360, 800 - 12 * (s - 200)) : 800,
    secondaryKpa: between(s, 215, 260) ? 380 : 800,
    tire: (i) => {
      if (i === 9 && between(s, 100, 290)) return null;
      const hot = i === 10 && between(s, 120, 220);
      const fill = 0.94 * target(i);
      if (i === 2) return [Math.max(300, fill - 1.2 * Math.max(0, s - 60)), 18];
      return [i === 4 ? fill - 72 : fill, hot ? 125 : 18];
    },
    stroke: (i) => (braking ? ([0, 0, 0, 2, 0, 1][i] ?? 0) : 0),
    codes: between(s, 150, 240) ? [[117, 18]] : [],
    redLamp: between(s, 250, 280),
  };
}

/** What a live run gets besides frames. */
export type Item = { t: number; frame: Frame; isError: boolean } | { t: number; rare: (run: LiveRun) => void };

const ENGINE_CODES = [1, 2, 3, 4].map((spn) => ({ spn: 100 + spn, fmi: 3, count: spn }));

/** The shift, `phaseMs` later against the ticks, brakes and tires on the second bus, with rare inputs at odd times. */
export function shift(phaseMs: number, seed: number): Item[] {
  const random = new Random(seed);
  const items: Item[] = [...drive(0, SHIFT_S, troubled)].map((frame) => {
    const bus = [11, 51].includes(frame.id & 0xff) ? 1 : 0;
    return { t: frame.t + phaseMs, frame: { ...frame, t: frame.t + phaseMs, bus }, isError: false };
  });
  // Long messages, whose parts lie on both sides of ticks and of segments.
  for (let s = 30; s < 180; s += 9.7) {
    for (const { t, id, data } of broadcast(
      Math.round(1000 * s) + phaseMs,
      7,
      65226,
      dm1Payload('amber', ENGINE_CODES),
    ))
      items.push({ t, frame: { t, bus: 0, id, data }, isError: false });
  }
  for (let n = 0; n < 20; n++) {
    const t = random.whole(1_000, 1000 * SHIFT_S);
    items.push({ t, frame: { t, bus: n % 2, id: 0x20, data: new Uint8Array(8) }, isError: true });
  }
  items.push(...rareItems(random));
  return items.sort((a, b) => a.t - b.t);
}

/** A person may close an alert when the truck stands: near the end. */
const WHAT = ['take', 'snooze', 'resume', 'take', 'snooze', 'take', 'resume', 'take', 'close', 'close'] as const;

function rareItems(random: Random): Item[] {
  const at = (from: number, to: number): number => random.whole((1000 * from) / HASTE, (1000 * to) / HASTE);
  let rev = 0;
  const decide = (alert: number, what: Decision['do']): Decision => ({
    ...{ rev: ++rev, alert, do: what, who: 'Ann', note: null, minutes: what === 'snooze' ? 2 : null },
  });
  const answers = WHAT.map((what, n) => ({
    t: at(40 + 45 * n, 75 + 45 * n),
    rare: (run: LiveRun) => {
      const open = Object.values(run.session.pipeline.state.book.alerts).filter((a) => a.open);
      const chosen = open[random.whole(0, Math.max(0, open.length - 1))];
      const decisions = chosen === undefined ? [] : [decide(chosen.ordinal, what)];
      run.rare(run.now, { kind: 'answer', answer: { trailer: n === 5 ? 'TR-78' : null, decisions } });
    },
  }));
  const reload = (t: number, config: TruckConfig): Item => ({
    t,
    rare: (run) => run.rare(run.now, { kind: 'reload', config }),
  });
  const clock = (t: number): Item => ({
    ...{ t, rare: (run: LiveRun) => run.rare(run.now, { kind: 'clock', zeroCalendarMs: 1_772_456_403_210 }) },
  });
  return [...answers, reload(at(90, 140), AFTER), reload(at(260, 310), BEFORE), clock(at(30, 430))];
}

/** Plays items to a run, the last tick at the end of the shift. */
export async function play(run: LiveRun, items: readonly Item[], endMs = 1000 * SHIFT_S + 90_000): Promise<void> {
  for (const [n, item] of items.entries()) {
    run.tickTo(item.t);
    run.now = item.t;
    if ('rare' in item) item.rare(run);
    else run.frame(item.frame, item.isError);
    // A live run has all the time of the world for its disk.
    if (n % 100 === 0) await run.recorder.settled();
  }
  await run.stop(endMs);
}
