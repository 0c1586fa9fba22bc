import { readFileSync, statSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { URGENCIES, type Urgency } from '../../config/resolved.js';
import { parseScenario } from '../../simulator/scenario.js';
import { simulateShift } from '../../simulator/shift.js';
import { simulateInto } from '../../simulator/simulation.js';
import { truthText } from '../../simulator/truth.js';
import { b1, ccvs1, type NaiveFrame, parseLog, perMinute, rpm, strokes } from './naive.js';

const min = (m: number): number => m * 60_000;
const linesOf = (path: string) => readFileSync(path, 'utf8').trimEnd().split('\n');

interface Expected {
  expect?: string;
  may?: string;
  subject: string;
  urgency?: Urgency;
  must?: boolean;
}
interface Told {
  rule: string;
  subject: string;
  urgency: Urgency;
}

const logs = Object.fromEntries(
  ['night-coach', 'quarry-run'].map((name) => {
    const text = gunzipSync(readFileSync(`replay-logs/${name}.log.gz`)).toString('latin1');
    return [name, { text, frames: parseLog(text.trimEnd().split('\n')) }];
  }),
);

function of<T>(name: string, pgn: number, read: (frame: NaiveFrame) => T, from = 0, to = 200): (T & { t: number })[] {
  return logs[name]!.frames.filter((frame) => frame.pgn === pgn && frame.t >= min(from) && frame.t < min(to)).map(
    (frame) => ({ t: frame.t, ...read(frame) }),
  );
}

describe.each(Object.keys(logs))('%s', (name) => {
  const scenario = parseScenario(readFileSync(`simulator/shifts/${name}.yaml`, 'utf8'), `${name}.yaml`);
  const truth = linesOf(`replay-logs/${name}.truth.ndjson`).map((line) => JSON.parse(line) as Expected);
  const told = linesOf(`replay-logs/${name}.events`).map((line) => JSON.parse(line) as Told);

  it('is what the scenario and its seed make', () => {
    expect(logs[name]!.text).toBe(`${[...simulateShift(scenario)].join('\n')}\n`);
    expect(readFileSync(`replay-logs/${name}.truth.ndjson`, 'utf8')).toBe(
      truthText(simulateInto(scenario, { frame() {}, errorFrame() {} })),
    );
  }, 60_000);

  it('is under 1 MB', () => {
    expect(statSync(`replay-logs/${name}.log.gz`).size).toBeLessThan(1e6);
  });

  it('is told of as the truth has it: what must be is, and nothing that may not be', () => {
    const isTold = ({ expect: rule, subject, urgency }: Expected): boolean =>
      told.some(
        (one) =>
          one.rule === rule && one.subject === subject && URGENCIES.indexOf(one.urgency) >= URGENCIES.indexOf(urgency!),
      );
    expect(truth.filter((one) => one.must === true && !isTold(one))).toEqual([]);
    const mayBe = ({ rule, subject }: Told): boolean =>
      truth.some((one) => (one.may ?? one.expect) === rule && one.subject === subject);
    expect(told.filter((one) => !mayBe(one))).toEqual([]);
    expect(told.length).toBeGreaterThan(0);
  });
});

describe('the story of night-coach', () => {
  const NAME = 'night-coach';

  it('stands with the engine off from minute 5 to 27 while both circuits lose more than a bus may', () => {
    expect(of(NAME, 61444, (f) => ({ rpm: rpm(f) }), 5.1, 27.4).every((frame) => frame.rpm === 0)).toBe(true);
    expect(of(NAME, 65265, ccvs1, 5.1, 27.4).every(({ kmh }) => kmh === 0)).toBe(true);
    const standing = of(NAME, 65274, b1, 7, 26);
    for (const circuit of ['primary', 'secondary'] as const) {
      const rate = -perMinute(standing.map((frame) => [frame.t, frame[circuit]] as const));
      // Driver manuals: 2 psi (13.8 kPa) a minute for a vehicle alone.
      expect(rate).toBeGreaterThan(16);
      expect(rate).toBeLessThan(27);
    }
  });

  it('fills up again, then its secondary circuit sinks while the primary one does not', () => {
    const full = of(NAME, 65274, b1, 31.5, 32);
    expect(full.every(({ primary, secondary }) => primary > 650 && secondary > 650)).toBe(true);
    const late = of(NAME, 65274, b1, 63, 64).filter(({ application }) => application === 0);
    expect(late.every(({ primary, secondary }) => primary > 650 && primary - secondary > 103)).toBe(true);
  });
});

describe('the story of quarry-run', () => {
  const NAME = 'quarry-run';
  const LEFT = 2;
  const RIGHT = 3;
  const measured = (from: number, to: number) =>
    of(NAME, 0xff21, ({ bytes }) => ({ mm: bytes.slice(0, 4).map((byte) => byte / 2) }), from, to);

  it('over-strokes at tractor/2/left only, from minute 10 to the stop', () => {
    const over = of(NAME, 64881, strokes).filter(({ codes }) => codes.includes(2));
    expect(over.length).toBeGreaterThan(5);
    expect(over.every(({ codes }) => codes.indexOf(2) === LEFT && codes.lastIndexOf(2) === LEFT)).toBe(true);
    expect(over[0]!.t).toBeGreaterThan(min(10));
    expect(over.at(-1)!.t).toBeLessThan(min(26));
  });

  it.each([
    [4, 10, 0],
    [11, 24, 18],
    [35, 55, 0],
  ])(
    'in minutes %i to %i the left pushrod of the drive axle travels %i mm further than the right one',
    (from, to, mm) => {
      const pressed = measured(from, to).filter((frame) => frame.mm[RIGHT]! > 20);
      const apart = pressed.map((frame) => frame.mm[LEFT]! - frame.mm[RIGHT]!).sort((a, b) => a - b);
      expect(pressed.length).toBeGreaterThan(10);
      expect(Math.abs(apart[Math.floor(apart.length / 2)]! - mm)).toBeLessThanOrEqual(3);
    },
  );
});
