import { describe, expect, test } from 'vitest';
import { HostClock } from '../../adapters/clock/host-clock.js';
import type { SyncSource } from '../../adapters/clock/sync-source.js';
import type { AlertState } from '../../daemon/alerts/alert.js';
import type { NumberedEvent } from '../../daemon/alerts/numbered.js';
import { Numberer } from '../../daemon/alerts/numbering.js';
import { LiveInputs } from '../../daemon/commands/live-inputs.js';
import { Session } from '../../daemon/commands/session.js';
import type { Decision } from '../../daemon/input.js';
import type { Resume } from '../../daemon/pipeline.js';
import type { Plain } from '../../daemon/state.js';
import { drive, troubled } from '../support/drive.js';
import { type Frame, storyLine } from '../support/rig.js';
import { truckOf } from '../support/truck-file.js';
import { FaultRow } from './support/row.js';

const NOON = Date.parse('2026-03-02T12:00:00Z');
const END_S = 2_400;
const SECOND = 1_000;
const HOUR = 3_600_000;
/** Of which the short form takes the first six. */
const STEPS_MS = [
  1 * SECOND,
  -1 * SECOND,
  HOUR,
  -HOUR,
  13 * HOUR,
  -13 * HOUR,
  60 * SECOND,
  -60 * SECOND,
  6 * HOUR,
  -6 * HOUR,
];
const SHORT = 6;
/** So long a stand makes a cold start (config/defaults.yaml, standForColdStart). */
const COLD_START_MS = 4 * HOUR;
/** The lamp that chatters, besides all else. */
const frames: readonly Frame[] = [
  ...drive(0, END_S, (s) => ({ ...troubled(s), ...(s >= 1_850 && s < 2_250 && { redLamp: s % 24 < 12 }) })),
];
/** What the office says, by second: somebody takes the first alert, and puts off the second. */
const DECISIONS = new Map<number, Decision>([
  [800, { rev: 1, alert: 1, do: 'take', who: 'dispatch desk', note: null, minutes: null }],
  [830, { rev: 2, alert: 2, do: 'snooze', who: 'dispatch desk', note: null, minutes: 600 }],
]);

/** A machine whose wall clock can be set without the monotonic one moving. */
class Machine {
  mono = 5_000;
  wall: number;
  constructor(wall: number) {
    this.wall = wall;
  }
  readonly monotonicMs = (): number => this.mono;
  readonly wallMs = (): number => this.wall;
}

interface Run {
  events: NumberedEvent[];
  state: Plain;
  /** `rule subject` of the alerts that are open at the end. */
  open: string[];
  /** Conditions in which an alert was when the clock was set. */
  seen: Set<string>;
}

interface RunOptions {
  resume?: Resume | null;
  /** Milliseconds since 1970 at which the wall clock begins, and what vouches for it. */
  wall?: number;
  sync?: SyncSource;
  /** By second: the wall clock is set by so much. */
  steps?: ReadonlyMap<number, number>;
  fromS?: number;
  toS?: number;
  firstSeq?: Numberer;
}

/** The path of a live run from its clocks to its events: daemon/commands/live.ts without sockets and timers. */
function run({ resume = null, wall = NOON, sync, steps, fromS = 0, toS = END_S, firstSeq }: RunOptions = {}): Run {
  const machine = new Machine(wall);
  const clock = new HostClock({
    host: machine,
    floor: { builtMs: NOON - HOUR * 24, rememberedMs: 0 },
    ...(sync !== undefined && { sync }),
  });
  const events: NumberedEvent[] = [];
  const session = new Session({
    config: truckOf(),
    resume,
    run: clock.run,
    store: null,
    nowMs: machine.monotonicMs,
    numberer: firstSeq ?? new Numberer({ truck: 'T-1042', store: 'k3f9q2m1x7ab' }),
    onEvents: (more) => events.push(...more),
  });
  const inputs = new LiveInputs(session, () => clock.streamNow(), null);
  const seen = new Set<string>();
  const start = machine.mono;
  const to = (ms: number): void => {
    machine.wall += start + ms - machine.mono;
    machine.mono = start + ms;
  };
  let second = 0;
  const ticks = (untilMs: number): void => {
    while ((second + 1) * SECOND <= untilMs) {
      second += 1;
      to(second * SECOND);
      const step = steps?.get(second) ?? 0;
      if (step !== 0) {
        machine.wall += step;
        for (const alert of Object.values(session.pipeline.state.book.alerts)) seen.add(conditionOf(alert));
        if (Object.keys(session.pipeline.state.book.muted).length > 0) seen.add('muted');
      }
      inputs.tick();
      const decision = DECISIONS.get(fromS + second);
      if (decision !== undefined) inputs.rare({ kind: 'answer', answer: { trailer: null, decisions: [decision] } });
      const known = clock.look();
      if (known === null) continue;
      session.setRun(known);
      if (known.synced) inputs.rare({ kind: 'clock', zeroCalendarMs: known.zeroWallMs });
    }
  };
  for (const { t, id, data } of frames) {
    if (t < fromS * SECOND || t >= toS * SECOND) continue;
    const at = t - fromS * SECOND;
    ticks(at);
    to(at);
    inputs.frame(0, id, data, false);
  }
  ticks((toS - fromS) * SECOND);
  const end = clock.streamNow();
  session.stepper.advance(end);
  const open = Object.values(session.pipeline.state.book.alerts).filter((alert) => alert.open);
  return {
    events,
    open: open.map(({ rule, subject }) => `${rule} ${subject}`),
    seen,
    state: JSON.parse(JSON.stringify(session.pipeline.snapshot(end))) as Plain,
  };
}

function conditionOf(alert: AlertState): string {
  if (!alert.open) return 'ended';
  if (alert.snoozedBy !== '') return 'snoozed';
  if (alert.takenBy !== '') return 'taken';
  if (alert.chatter.on) return 'chattering';
  return alert.unsure ? 'unsure' : 'open';
}

const story = (events: readonly NumberedEvent[]): string[] => events.map(({ draft }) => storyLine(draft));
const untimed = (events: readonly NumberedEvent[]): string[] =>
  story(events).map((line) => line.slice(line.indexOf(' ') + 1));
const inOrder = (events: readonly NumberedEvent[]): boolean => events.every(({ seq }, i) => seq === i + 1);

describe('the wall clock is set', () => {
  const plain = run();
  const row = new FaultRow('clock', { short: SHORT, full: 20 * STEPS_MS.length });
  const restart = new FaultRow('clock:restart', { short: SHORT, full: 20 * STEPS_MS.length });

  test('every minute, back and forth: the same events at the same ticks, in order', {
    timeout: row.timeoutMs,
  }, async () => {
    // Also where all rounds were run before: the drive itself has every state.
    const seen = new Set<string>(plain.seen);
    await row.each(({ index, below }) => {
      const step = STEPS_MS[index % STEPS_MS.length]!;
      const steps = new Map<number, number>();
      for (let s = 1 + below(60), sign = 1; s < END_S; s += 20 + below(40), sign = -sign) steps.set(s, sign * step);
      const stepped = run({ steps });
      for (const condition of stepped.seen) seen.add(condition);
      expect(story(stepped.events)).toEqual(story(plain.events));
      expect(inOrder(stepped.events)).toBe(true);
    });
    expect(plain.events.length).toBeGreaterThan(20);
    expect([...seen].sort()).toEqual(['chattering', 'ended', 'muted', 'open', 'snoozed', 'taken', 'unsure']);
  });

  test('from 1970 to now, at any moment: no event of it, and none is lost', { timeout: row.timeoutMs }, () => {
    for (const second of [1, 701, 1_640, 2_350]) {
      const sync: { synced: boolean; by: string } = { synced: true, by: 'test' };
      const stepped = run({ wall: 20_000, sync, steps: new Map([[second, NOON - 20_000]]) });
      expect(story(stepped.events)).toEqual(story(plain.events));
      for (const { draft, run: by } of stepped.events) expect(by.synced).toBe(draft.t > second * SECOND);
    }
  });

  test('while the program is down: nothing is told that a restart without it would not tell', {
    timeout: restart.timeoutMs,
  }, async () => {
    await restart.each(({ index, below }) => {
      const step = STEPS_MS[index % STEPS_MS.length]!;
      const atS = 100 + below(END_S - 400);
      const before = run({ toS: atS });
      const downMs = 5_000 + below(60_000);
      const restarted = (down: number | null): Run =>
        run({ resume: { kind: 'restart', state: before.state, downMs: down }, fromS: atS });
      const control = new Set(untimed(restarted(downMs).events));
      // As the store and the clock of the new run have it (daemon/commands/live.ts, resumeOf).
      const stepped = restarted(Math.max(0, downMs + step));
      expect(inOrder(stepped.events)).toBe(true);
      const said = untimed(stepped.events);
      const open = new Set(before.open);
      expect(said.filter((line) => open.has(line.replace(/^raised \S+ /, '')))).toEqual([]);
      // A clock that is vouched for before and after says that the truck stood for so long: its tires are cold.
      if (downMs + step >= COLD_START_MS) return;
      const invented = said.filter((line) => !control.has(line) && !isSameAlert(line, control));
      expect([atS, step, invented]).toEqual([atS, step, []]);
    });
  });
});

/**
 * The same alert, told otherwise. Whether it is 15 min since it was cleared is asked of the wall clock, so it comes as a new one or as
 * the old; and evidence from before a down-time of which nobody knows still counts, so it may be raised before a hole in the data, and
 * be unsure in it, that lies before the raise otherwise.
 */
function isSameAlert(line: string, control: ReadonlySet<string>): boolean {
  const [change = '', ...rest] = line.split(' ');
  const isRaised = control.has(['raised', ...rest].join(' ')) || control.has(['reopened', ...rest].join(' '));
  return ['raised', 'reopened', 'unsure', 'sure'].includes(change) && isRaised;
}
