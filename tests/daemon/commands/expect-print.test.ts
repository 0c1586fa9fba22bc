import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { type Comparison, compareEvents, isSame, KINDS } from '../../../daemon/commands/expect-compare.js';
import { countWords, differenceText, foundWords, SHOWN } from '../../../daemon/commands/expect-print.js';
import fc from '../../support/property.js';

const SHIFT = readFileSync('replay-logs/morning-run.events', 'utf8').trimEnd().split('\n');
type Event = Record<string, unknown> & { at: number; alert: number; measured: Record<string, unknown> };
const parsed = SHIFT.map((line) => JSON.parse(line) as Event);
/** A leak with a measured quantity, evidence, a forecast and a position. */
const leak = parsed.find(({ rule }) => rule === 'tire-losing-air')!;
const lines = (...events: object[]): string[] => events.map((event) => JSON.stringify(event));
const ESC = '\u001b';
const unpainted = (line: string): string => line.replaceAll(new RegExp(`${ESC}\\[\\d+m`, 'g'), '');
const PLAIN = { colour: false, columns: 80, all: false };
const told = (expected: readonly string[], got: readonly string[]): string[] =>
  differenceText(compareEvents(expected, got), PLAIN);
/** What is told of one event that has something else in it. */
const otherwise = (more: object): string =>
  told(lines(leak), lines({ ...leak, ...more }))
    .slice(1)
    .map((line) => line.trim())
    .join(' ')
    .replace(/^numbers\s+\S+\s+raised, next stop: /, '');

describe('the demonstration shift', () => {
  it('is like itself', () => {
    const { counts, differences } = compareEvents(SHIFT, SHIFT);
    expect({ counts, differences, same: isSame(counts, true) }).toEqual({
      counts: { missing: 0, extra: 0, moved: 0, urgency: 0, numbers: 0 },
      ...{ differences: [], same: true },
    });
  });

  it('with one thing taken away, put in, moved or raised each is told as just that, whichever event it is', () => {
    const kinds = { missing: 0, extra: 0, moved: 0, urgency: 0, numbers: 0 };
    for (const [i, event] of parsed.entries()) {
      const [before, after] = [SHIFT.slice(0, i), SHIFT.slice(i + 1)];
      const swap = (more: object): string[] => [...before, JSON.stringify({ ...event, ...more }), ...after];
      const counts = (got: readonly string[]) => compareEvents(SHIFT, got).counts;
      expect(counts([...before, ...after])).toEqual({ ...kinds, missing: 1 });
      expect(counts(swap({ at: event.at + 7000 }))).toEqual({ ...kinds, moved: 1 });
      expect(counts(swap({ urgency: event.urgency === 'plan' ? 'pull-over' : 'plan' }))).toEqual({
        ...kinds,
        urgency: 1,
      });
      expect(counts(swap({ trailer: 'TR-78' }))).toEqual({ ...kinds, numbers: 1 });
      expect(compareEvents([...before, ...after], SHIFT).counts).toEqual({ ...kinds, extra: 1 });
    }
  });

  it('alerts that have another number because one came more are no difference of their own', () => {
    const more = { ...parsed[0]!, alert: 1, rule: 'bus-silent', subject: 'bus/main', at: 1000, since: 1000 };
    const later = parsed.map((event) => ({
      ...event,
      alert: event.alert + 1,
      cause: event.cause === null ? null : (event.cause as number) + 1,
    }));
    const { counts } = compareEvents(SHIFT, lines(more, ...later));
    expect(counts).toEqual({ missing: 0, extra: 1, moved: 0, urgency: 0, numbers: 0 });
    expect(compareEvents(SHIFT, lines(...later)).differences).toEqual([]);
  });

  it('nor those that came in another order, with what names them as their cause', () => {
    const numbers = [...new Set(parsed.map(({ alert }) => alert))];
    expect(numbers.length).toBeGreaterThan(2);
    const turned = new Map(numbers.map((alert, i) => [alert, numbers[(i + 1) % numbers.length]!]));
    const got = parsed.map((event) => ({
      ...event,
      alert: turned.get(event.alert)!,
      cause: event.cause === null ? null : turned.get(event.cause as number)!,
    }));
    expect(compareEvents(SHIFT, lines(...got)).differences).toEqual([]);
  });

  it('another cause is told although it has the number of the one expected', () => {
    const [a, b] = [leak.alert, leak.alert + 1];
    const other = { ...leak, rule: 'bus-silent', subject: 'bus/main', cause: null };
    const third = { ...other, subject: 'bus/other', alert: b + 1 };
    const wanted = lines({ ...leak, alert: a, cause: b }, { ...other, alert: b }, third);
    const explained = (cause: number) =>
      told(wanted, lines({ ...leak, alert: a, cause }, { ...other, alert: b + 1 }, { ...third, alert: b }));
    expect(explained(b + 1)).toEqual([]);
    expect(explained(b).join()).toMatch(/explained by another alert than/);
    // One that nobody expected, with the number of the one that was.
    const extra = { ...other, alert: b, subject: 'bus/new' };
    const got = lines({ ...leak, alert: a, cause: b }, extra, { ...other, alert: b + 2 }, third);
    expect(compareEvents(wanted, got).counts).toMatchObject({ extra: 1, numbers: 1 });
  });

  it('an event that went to another alert of its place is told', () => {
    const later = { ...leak, at: leak.at + 4_000_000, since: leak.at + 4_000_000, alert: leak.alert + 1 };
    const cleared = { ...later, change: 'cleared', at: later.at + 1000 };
    expect(told(lines(leak, later, cleared), lines(leak, later, { ...cleared, alert: leak.alert }))[1]).toMatch(
      /part of another alert than expected/,
    );
  });

  it('what follows of a raise that moved is told with it, and another since by itself', () => {
    const cleared = { ...leak, change: 'cleared', at: leak.at + 60_000 };
    const moved = { at: leak.at + 7000, since: leak.at + 7000 };
    const kinds = { missing: 0, extra: 0, moved: 1, urgency: 0 };
    const counts = (since: number) =>
      compareEvents(lines(leak, cleared), lines({ ...leak, ...moved }, { ...cleared, since })).counts;
    expect(counts(moved.since)).toEqual({ ...kinds, numbers: 0 });
    expect(counts(moved.since + 1)).toEqual({ ...kinds, numbers: 1 });
  });
});

describe('other numbers, in words', () => {
  const { measured } = leak;
  it.each([
    [{ measured: { ...measured, value: 5.5 } }, `leak rate 5.5 kPa/min, expected ${measured.value}`],
    [{ measured: { ...measured, high: 7 } }, `leak rate to 7 kPa/min, expected ${measured.high}`],
    [{ measured: { ...measured, limit: 2 } }, `leak rate limit 2 kPa/min, expected ${measured.limit}`],
    [{ measured: { ...measured, window: 'rapid' } }, 'leak rate window rapid, expected steady'],
    [{ measured: { silentS: 640 } }, `measured silent for 640 s, expected leak rate ${measured.value} kPa/min`],
    [{ measured: null }, `measured nothing, expected leak rate ${measured.value} kPa/min`],
    [{ since: leak.at - 12_000 }, 'since 1:08:11, expected 1:08:23'],
    [{ was: 'plan' }, 'urgency before: plan, expected null'],
    [{ trailer: null }, 'trailer null, expected TR-77'],
    [{ cause: 3 }, 'explained by another alert, expected by none'],
    [{ forecast: null }, 'no forecast, expected one'],
    [{ evidence: null }, 'no evidence, expected one'],
    [{ vehicle: { ...(leak.vehicle as object), speed: 12 } }, `vehicle's speed 12 km/h, expected 90 km/h`],
    [{ kind: 'system' }, 'kind system, expected equipment'],
    [{ later: 1 }, 'later 1, expected none'],
    [
      { measured: { ...measured, value: 5.5 }, forecast: null, evidence: null },
      `leak rate 5.5 kPa/min, expected ${measured.value}; forecast, evidence too`,
    ],
  ])('%j', (more, words) => {
    const speed = (leak.vehicle as { speed: number }).speed;
    expect(otherwise(more)).toBe(words.replace('90 km/h', `${speed} km/h`));
  });

  it('evidence and forecast by their first difference', () => {
    const { evidence, forecast } = leak as unknown as {
      evidence: { points: [number, number][] };
      forecast: { at: number; what: string };
    };
    const points = evidence.points.map(([t, value], i) => [t, i === 2 ? value + 1 : value]);
    const [, kpa] = evidence.points[2]!;
    expect(otherwise({ evidence: { ...evidence, points } })).toMatch(
      new RegExp(`^evidence ${kpa + 1} at \\S+, expected ${kpa} at \\S+$`),
    );
    expect(otherwise({ evidence: { ...evidence, points: points.slice(1) } })).toBe(
      `evidence of ${points.length - 1} points, expected ${points.length}`,
    );
    expect(otherwise({ forecast: { ...forecast, at: forecast.at + 60_000 } })).toMatch(
      new RegExp(`^forecast of ${forecast.what} at \\S+, expected \\S+$`),
    );
  });

  it('the same in another order of keys is told as such', () => {
    const { v, ...rest } = leak;
    expect(otherwise({})).toBe('');
    expect(told(lines(leak), lines({ ...rest, v }))[1]).toMatch(/: written in another order$/);
  });
});

describe('how much it moved', () => {
  it.each([
    [1000, '+1 s'],
    [-12_000, '-12 s'],
    [500, '+0.5 s'],
    [119_000, '+119 s'],
    [-252_000, '-4 min 12 s'],
    [3_600_000, '+1 h 0 min'],
  ])('%i ms: %s', (ms, words) => {
    const [, line] = told(lines(leak), lines({ ...leak, at: leak.at + ms }));
    expect(line).toContain(`raised, next stop: by ${words} from 1:08:23`);
  });

  it('another urgency and another time are one line', () => {
    expect(told(lines(leak), lines({ ...leak, at: leak.at + 5000, urgency: 'plan' }))).toEqual([
      'tractor axle 2, left outer tire: losing air',
      '  urgency   1:08:28  raised, plan: expected next stop; by +5 s from 1:08:23',
    ]);
  });
});

describe('many differences', () => {
  const many = Array.from({ length: 300 }, (_, i) => ({
    ...leak,
    at: leak.at + i * 10_000,
    subject: `tractor/${(i % 3) + 1}/left/outer`,
  }));

  it('of each kind the first are shown and the rest counted; all where it is asked for', () => {
    const compared = compareEvents(lines(...many), []);
    const few = differenceText(compared, PLAIN);
    expect(few.filter((line) => line.startsWith('  missing')).length).toBe(SHOWN);
    expect(few.at(-1)).toBe(`and ${300 - SHOWN} missing more; --all-differences shows them`);
    const all = differenceText(compared, { ...PLAIN, all: true });
    expect(all.length).toBe(300 + 3);
    expect(foundWords(compared)).toBe('300 missing');
    expect(countWords(compared)).toBe('300 missing, 0 extra, 0 moved, 0 of other urgency, 0 with other numbers');
  });

  it('an alert begins where its first difference is, and its lines are in time', () => {
    const all = told(lines(...many.slice(0, 5)), []);
    expect(all.map((line) => line.replace(/^ +missing +/, ''))).toEqual([
      'tractor axle 1, left outer tire: losing air',
      '1:08:23  raised, next stop',
      '1:08:53  raised, next stop',
      'tractor axle 2, left outer tire: losing air',
      '1:08:33  raised, next stop',
      '1:09:03  raised, next stop',
      'tractor axle 3, left outer tire: losing air',
      '1:08:43  raised, next stop',
    ]);
  });
});

describe('runs', () => {
  const run = [leak, { ...leak, change: 'cleared', at: leak.at + 60_000 }];

  it('times that begin anew are of the next run, which is told', () => {
    const moved = [...run, { ...leak, at: leak.at + 12_000 }, run[1]!];
    expect(told(lines(...run, ...run), lines(...moved))).toEqual([
      'tractor axle 2, left outer tire: losing air',
      '  moved    run 2  1:08:35  raised, next stop: by +12 s from 1:08:23',
    ]);
  });

  it('what is the same in both is not taken from one run for the other', () => {
    const { differences } = compareEvents(lines(...run, ...run), lines(...run, run[1]!));
    expect(differences.map(({ kind, run: which }) => [kind, which])).toEqual([['missing', 2]]);
  });
});

describe('lines', () => {
  const CHANGED = fc.record(
    {
      at: fc.integer({ min: 0, max: 40_000_000 }),
      urgency: fc.constantFrom('plan', 'next-stop', 'pull-over'),
      since: fc.integer({ min: 0, max: 40_000_000 }),
      trailer: fc.string({ maxLength: 20 }),
    },
    { requiredKeys: [] },
  );
  const EVENTS = fc.array(fc.tuple(fc.constantFrom(...parsed), CHANGED), { maxLength: 8 });

  it('are at most 80 wide, with the kind in words; colour changes nothing else', () => {
    fc.assert(
      fc.property(EVENTS, EVENTS, (a, b) => {
        const merge = (list: typeof a): string[] => lines(...list.map(([event, more]) => ({ ...event, ...more })));
        const compared: Comparison = compareEvents(merge(a), merge(b));
        const plain = differenceText(compared, { ...PLAIN, columns: 200 });
        for (const line of plain) expect(line.length, line).toBeLessThanOrEqual(80);
        const kinds = plain.filter((line) => /^ {2}[a-z]/.test(line)).map((line) => line.slice(2).split(' ')[0]!);
        for (const kind of KINDS) expect(kinds.filter((one) => one === kind).length).toBe(compared.counts[kind]);
        const coloured = differenceText(compared, { ...PLAIN, colour: true });
        expect(coloured.map((line) => unpainted(line))).toEqual(plain);
      }),
    );
  });
});
