import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import type { Gathered } from '../../../report/gathered.js';
import { TIRE_PICTURES } from '../../../report/story/tire-pictures.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, run, sample, text, ZERO_MS } from '../support/by-hand.js';

const TIRE = 'tractor/2/left/outer';
const MATES = ['tractor/2/left/inner', 'tractor/2/right/inner', 'tractor/2/right/outer', 'tractor/3/left/outer'];

/** Two hours; readings every ten seconds at one temperature. */
function made(own: (s: number) => number, mates: (s: number, i: number) => number = () => 690): Gathered {
  const gathered = run(120, truckOf());
  for (const [i, tire] of [TIRE, ...MATES].entries()) {
    sample(gathered, tire, 'pressure', 10, i === 0 ? own : (s) => mates(s, i));
    sample(gathered, tire, 'temperature', 10, () => 18);
  }
  return gathered;
}

/** Of an alert that is raised after 110 minutes, with its window a quarter of an hour before. */
function saw(gathered: Gathered, rule: RuleName = 'tire-underinflated', subject = TIRE): string {
  const alert = alertOf(gathered, rule, subject, [[6600, 'raised', 'plan']]);
  const scene = { gathered, alert, fromMs: ZERO_MS + 5_700_000, toMs: ZERO_MS + 7_200_000 };
  return TIRE_PICTURES[rule]!(scene).saw.map(text).join(' ');
}

/** Level until minute 20, then down by so many kPa a minute, in steps of 4 kPa. */
const falling =
  (perMin: number) =>
  (s: number): number =>
    690 - 4 * Math.round((perMin * Math.max(0, s - 1200)) / 240);

const since = (words: string): number => Number(/since about <(\d+)/.exec(words)?.[1] ?? Number.NaN);

describe('a tire that has been falling for long', () => {
  it('is said to have, since when and how fast, from before the minutes that are shown', () => {
    const words = saw(made(falling(0.7)));
    expect(words).toMatch(
      /It had been falling since about <\d+>, 0\.7 kPa\/min over \d+ min, while its mates stayed level\./,
    );
    expect(Math.abs(since(words) - 1200)).toBeLessThanOrEqual(300);
  });

  it('is told of whichever of a pair it is', () => {
    expect(saw(made(falling(0.7)), 'duals-unequal', 'tractor/2/left/pair')).toMatch(
      /Outer tire: It had been falling since about <\d+>, 0\.7 kPa\/min/,
    );
  });

  it('and when it began, where it is losing air', () => {
    expect(saw(made(falling(0.7)), 'tire-losing-air')).toMatch(/It began to fall at about <\d+>, by 0\.7 kPa\/min/);
  });

  it('fell from the first readings on where nothing was heard before', () => {
    expect(saw(made((s) => 690 - s / 60))).toContain('It had been falling since the first readings, at <30>');
  });

  it('is known beside a mate that falls faster', () => {
    const words = saw(made(falling(0.7), (s, i) => (i === 2 ? falling(3)(s) : 690)));
    expect(Math.abs(since(words) - 1200)).toBeLessThanOrEqual(300);
  });

  it('is not told where it is not clear', () => {
    // 18 kPa in 90 minutes; all fall; one step; two rates.
    expect(saw(made(falling(0.2)))).not.toContain('falling');
    expect(saw(made(falling(0.7), falling(0.7)))).not.toContain('falling');
    expect(saw(made((s) => (s < 4000 ? 690 : 620)))).not.toContain('falling');
    expect(saw(made((s) => falling(0.3)(s) - Math.max(0, s - 6000) / 10))).not.toContain('falling');
  });

  it('is told beside mates that moved by less than a quarter of it, with what they moved by', () => {
    expect(saw(made(falling(0.7), (s) => 690 - s / 500))).toMatch(
      /since about <\d+>, 0\.\d kPa\/min over \d+ min, against its mates, which moved by (?:9|10|11) kPa meanwhile\./,
    );
  });
});
