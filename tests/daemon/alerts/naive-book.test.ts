import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import type { CloseReason, EventDraft } from '../../../daemon/alerts/event.js';
import type { Level } from '../../../daemon/alerts/judgement.js';
import type { Decision } from '../../../daemon/input.js';
import { BookBench, DRIVING } from '../../support/book-bench.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { INNER, NAIVE_RULES, NaiveBook, type NaiveInput, OUTER } from './naive-book.js';

/** One thing that happens, and for how many seconds it stays so. */
type Step = { seconds: number } & (
  | { what: 'level'; key: string; level: number }
  | { what: 'flap'; key: string; level: number; times: number }
  | { what: 'silence'; key: string }
  | { what: 'around'; moving: boolean; engineRunning: boolean; standing: boolean }
  | { what: 'cranking' }
  | { what: 'trip' }
  | { what: 'decide'; alert: number; do: Decision['do']; minutes: number | null }
  | { what: 'close'; key: string; why: CloseReason }
  | { what: 'restart'; downMs: number | null }
);

const levelsOf = (bench: BookBench, name: string): number[] => [
  ...new Set(bench.judgement(name as RuleName).limits.map((l) => l.level as number)),
];

/** Both machines, side by side. */
class Both {
  bench = new BookBench();
  readonly naive = new NaiveBook();
  readonly input: NaiveInput = {
    ...{ moving: true, engineRunning: true, cranking: false, standing: false, tripBegan: false },
    ...{ level: {}, fresh: new Set(), decisions: [], closing: {} },
  };
  readonly told: string[] = [];
  readonly naiveTold: string[] = [];
  #refused = 0;

  set(key: string, level: number): void {
    const [name, subject] = key.split(' ') as [RuleName, string];
    this.bench.set(name, subject, level as Level);
    this.input.level[key] = level;
    this.input.fresh.add(key);
  }

  run(seconds: number): void {
    const { input } = this;
    for (let i = 0; i < seconds; i++) {
      const { moving, engineRunning, cranking, standing, tripBegan } = input;
      this.bench.around = { ...DRIVING, moving, engineRunning, cranking, standing, tripBegan };
      const from = this.bench.events.length;
      this.bench.tick();
      const at = `${this.told.length} ${this.bench.t / 1000}`;
      this.told.push(...this.bench.events.slice(from).map((e) => `${at} ${lineOf(e)}`));
      this.naiveTold.push(...this.naive.tick(input).map((line) => `${at} ${line}`));
      Object.assign(input, { decisions: [], closing: {}, tripBegan: false });
    }
  }

  restart(downMs: number | null): void {
    this.#refused += this.bench.refused;
    this.bench = this.bench.restarted(downMs);
    this.naive.restart(downMs);
    this.input.fresh.clear();
  }

  get refused(): number {
    return this.#refused + this.bench.refused;
  }

  do(step: Step): void {
    const { input } = this;
    switch (step.what) {
      case 'level':
        this.set(step.key, step.level);
        break;
      case 'flap':
        for (let i = 0; i < step.times; i++) {
          this.set(step.key, 0);
          this.run(step.seconds);
          this.set(step.key, step.level);
          this.run(step.seconds);
        }
        return;
      case 'silence': {
        const [name, subject] = step.key.split(' ') as [RuleName, string];
        this.bench.silence(name, subject);
        input.fresh.delete(step.key);
        break;
      }
      case 'around':
        Object.assign(input, { ...step });
        break;
      case 'cranking':
        input.cranking = true;
        this.run(step.seconds);
        input.cranking = false;
        return;
      case 'trip':
        input.tripBegan = true;
        break;
      case 'decide': {
        const { alert, minutes } = step;
        this.bench.decide(alert, step.do, { minutes });
        input.decisions = [{ rev: 1, alert, do: step.do, who: 'dispatch desk', note: null, minutes }];
        break;
      }
      case 'close':
        this.bench.book.close((a) => (`${a.rule} ${a.subject}` === step.key ? step.why : null));
        input.closing = { [step.key]: step.why };
        break;
      case 'restart':
        this.restart(step.downMs);
    }
    this.run(step.seconds);
  }
}

function lineOf(e: EventDraft): string {
  const by = `by ${e.cause} ${e.reason ?? ''}`.trim();
  return `${e.change} ${e.urgency} was ${e.was ?? '-'} ${e.rule} ${e.subject} #${e.alert} ${by}`;
}

const KEYS = NAIVE_RULES.flatMap((r) => r.subjects.map((s) => `${r.name} ${s}`));
const sample = new BookBench();
const key = fc.constantFrom(...KEYS);
const keyAndLevel = key.chain((k) =>
  fc.record({ key: fc.constant(k), level: fc.constantFrom(0, ...levelsOf(sample, k.split(' ')[0]!)) }),
);
/** Both sides of every time of the machine: 20, 30 and 60 s, 10, 15 and 30 min. */
const seconds = fc.oneof(
  { weight: 12, arbitrary: fc.integer({ min: 1, max: 8 }) },
  { weight: 3, arbitrary: fc.constantFrom(19, 20, 21, 29, 30, 31, 59, 60, 61, 62) },
  { weight: 1, arbitrary: fc.constantFrom(540, 599, 600, 601, 899, 900, 901) },
);
const flap = fc
  .record({ at: keyAndLevel, times: fc.integer({ min: 1, max: 7 }), seconds: fc.constantFrom(1, 3, 9, 10, 11, 60) })
  .map(({ at, ...rest }) => ({ what: 'flap' as const, ...at, ...rest }));
const step: fc.Arbitrary<Step> = fc.oneof(
  {
    weight: 8,
    arbitrary: fc.tuple(keyAndLevel, seconds).map(([at, s]) => ({ what: 'level' as const, ...at, seconds: s })),
  },
  { weight: 2, arbitrary: flap },
  { weight: 2, arbitrary: fc.record({ what: fc.constant('silence' as const), key, seconds }) },
  {
    weight: 1,
    arbitrary: fc.record({
      ...{ what: fc.constant('around' as const), moving: fc.boolean(), engineRunning: fc.boolean() },
      ...{ standing: fc.boolean(), seconds },
    }),
  },
  { weight: 1, arbitrary: fc.record({ what: fc.constant('cranking' as const), seconds }) },
  { weight: 1, arbitrary: fc.record({ what: fc.constant('trip' as const), seconds }) },
  {
    weight: 4,
    arbitrary: fc.record({
      what: fc.constant('decide' as const),
      alert: fc.integer({ min: 1, max: 5 }),
      do: fc.constantFrom('take' as const, 'snooze' as const, 'resume' as const, 'close' as const),
      minutes: fc.constantFrom(1, 10, 720, 721, null),
      seconds,
    }),
  },
  {
    weight: 1,
    arbitrary: fc.record({
      ...{ what: fc.constant('close' as const), key, seconds },
      why: fc.constantFrom('unit-gone' as const, 'rule-changed' as const),
    }),
  },
  {
    weight: 1,
    arbitrary: fc.record({
      what: fc.constant('restart' as const),
      downMs: fc.constantFrom(null, 5_000, 300_000, 1_200_000, 30_000_000),
      seconds,
    }),
  },
);

function play(steps: readonly Step[]): Both {
  const both = new Both();
  for (const one of steps) both.do(one);
  return both;
}

describe('the book of alerts against a second, naive reading of design.md', () => {
  const seed = printedSeed('book');

  it('says the same in random hours', () => {
    const changes = new Set<string>();
    fc.assert(
      fc.property(fc.array(step, { minLength: 12, maxLength: 18 }), (steps) => {
        const both = play(steps);
        expect(both.told).toEqual(both.naiveTold);
        expect(both.naive.refused).toBe(both.refused);
        for (const line of both.told) changes.add(line.split(' ')[2]!);
      }),
      { seed, numRuns: 12 },
    );
    console.log(`book: changes seen: ${[...changes].sort().join(' ')}`);
  }, 120_000);

  const LOW = `tire-underinflated ${OUTER}`;
  const LOSING = `tire-losing-air ${OUTER}`;
  const level = (key: string, l: number, s: number): Step => ({ what: 'level', key, level: l, seconds: s });
  const silence = (key: string, s: number): Step => ({ what: 'silence', key, seconds: s });
  const flap = (times: number, s: number): Step => ({ what: 'flap', key: LOW, level: 1, times, seconds: s });
  const decide = (what: Decision['do'], minutes: number | null = null, s = 2): Step => ({
    ...{ what: 'decide', alert: 1, do: what, minutes, seconds: s },
  });
  /** Each time of the machine, some seconds less or more. */
  const TIMES: [string, (d: number) => Step[]][] = [
    ['unsure after 60 s', (d) => [level(LOW, 1, 5), silence(LOW, 61 + d), level(LOW, 1, 5)]],
    ['reopened within 15 min', (d) => [level(LOW, 1, 5), level(LOW, 0, 900 + d), level(LOW, 1, 5)]],
    [
      'announced 30 s after a mute',
      (d) => [level(LOSING, 2, 2), level(LOW, 1, 5), level(LOSING, 0, 30 + d), level(LOW, 0, 5)],
    ],
    [
      'a cause is awaited for 20 s',
      (d) => [{ what: 'restart', downMs: 5000, seconds: 1 }, level(LOW, 1, 19 + d), level(LOW, 0, 5)],
    ],
    ['a snooze of a minute', (d) => [level(LOW, 1, 5), decide('snooze', 1, 60 + d), level(LOW, 2, 3)]],
    [
      'a snooze over a restart',
      (d) => [
        level(LOW, 1, 5),
        decide('snooze', 6, 5),
        { what: 'restart', downMs: 300_000, seconds: 55 + d },
        level(LOW, 2, 3),
      ],
    ],
    [
      'three reversals in 60 s',
      (d) => [
        level(LOW, 1, 5),
        flap(1, 1),
        level(LOW, 1, 20),
        level(LOW, 0, 1),
        level(LOW, 1, 35 + d),
        level(LOW, 0, 1),
        level(LOW, 1, 5),
        level(LOW, 0, 5),
      ],
    ],
    [
      'six reversals in 30 min',
      (d) => [
        level(LOW, 1, 5),
        ...Array.from({ length: 5 }, () => flap(1, 175)),
        level(LOW, 0, 225 + d),
        level(LOW, 1, 5),
        level(LOW, 0, 5),
      ],
    ],
    ['calm for 10 min', (d) => [level(LOW, 1, 5), flap(3, 2), level(LOW, 0, 598 + d), level(LOW, 1, 20)]],
  ];

  it.each(TIMES)('says the same on both sides of a time: %s', (_, steps) => {
    const told = [-3, -2, -1, 0, 1, 2, 3].map((d) => {
      const both = play(steps(d));
      expect(both.told).toEqual(both.naiveTold);
      return both.told.map((line) => line.split(' ').slice(2).join(' ')).join('\n');
    });
    // The time lies within: what is said differs.
    expect(new Set(told).size).toBeGreaterThan(1);
  });

  it('says the same of every change that there is', () => {
    const both = play([
      ...[level(LOW, 1, 5), level(LOW, 3, 5), level(LOW, 2, 5), decide('take'), decide('snooze', 10), decide('resume')],
      ...[{ what: 'silence', key: LOW, seconds: 62 } as Step, level(LOW, 2, 5), level(LOW, 0, 400), level(LOW, 2, 5)],
      { what: 'flap', key: LOW, level: 2, times: 3, seconds: 2 },
      ...[
        level(LOW, 1, 610),
        { what: 'around', moving: false, engineRunning: false, standing: true, seconds: 1 } as Step,
      ],
      ...[decide('close'), level(`tire-losing-air ${OUTER}`, 2, 5), level(`tire-underinflated ${INNER}`, 1, 5)],
    ]);
    expect(both.told).toEqual(both.naiveTold);
    expect(both.told.map((line) => line.split(' ')[2])).toEqual([
      ...['raised', 'worse', 'better', 'taken', 'snoozed', 'resumed', 'unsure', 'sure', 'cleared', 'reopened'],
      ...['cleared', 'reopened', 'cleared', 'reopened', 'chattering', 'better', 'closed', 'raised', 'raised'],
    ]);
  });
});
