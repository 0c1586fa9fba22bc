import { describe, expect, it } from 'vitest';
import type { Picture } from '../../../report/story/picture.js';
import { TIRE_PICTURES } from '../../../report/story/tire-pictures.js';
import { coldStartsOf } from '../../../report/story/tire-slow.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, run, sample, text, ZERO_MS } from '../support/by-hand.js';

const TIRE = 'tractor/2/left/outer';
const PEERS = ['tractor/2/right', 'tractor/3/left', 'tractor/3/right'].map((end) => `${end}/outer`);
const DAY_S = 86_400;
const DAY_MIN = 24 * 60;

/** Each morning a quarter of an hour of driving; what the tire has each day, and its peers. */
function mornings(own: number[], peers: number[] = own.map(() => 690)) {
  const gathered = run(own.length * DAY_MIN - DAY_MIN + 30, truckOf());
  const reading = (days: number[]) => (s: number) => (s % DAY_S <= 900 ? days[Math.floor(s / DAY_S)]! : null);
  for (const [tire, days] of [[TIRE, own], ...PEERS.map((peer) => [peer, peers])] as [string, number[]][]) {
    sample(gathered, tire, 'pressure', 10, reading(days));
    sample(gathered, tire, 'temperature', 10, reading(days.map(() => 18)));
  }
  return gathered;
}

/** As raised at the last morning. */
function picture(gathered: ReturnType<typeof run>, days: number): Picture {
  const raiseS = (days - 1) * DAY_S + 200;
  const alert = alertOf(gathered, 'tire-losing-air', TIRE, [[raiseS, 'raised', 'plan']], {
    measured: {
      quantity: 'leak rate',
      window: 'slow',
      value: 12,
      low: 10,
      high: 14,
      limit: 5,
      unit: 'kPa/day',
      quality: 'good',
    },
  });
  const toMs = gathered.runs[0]!.toMs;
  return TIRE_PICTURES['tire-losing-air']!({ gathered, alert, fromMs: ZERO_MS + raiseS * 1000 - 600_000, toMs });
}

describe('cold starts', () => {
  it('are where the tire was heard again after three hours', () => {
    const { atMs, value } = coldStartsOf(mornings([700, 690, 680]), TIRE);
    expect(atMs.map((ms) => (ms - ZERO_MS) / 1000)).toEqual([DAY_S, 2 * DAY_S]);
    for (const [i, kpa] of value.entries()) expect(kpa).toBeCloseTo([690, 680][i]!, 6);
  });

  it('are none after a shorter stand', () => {
    const gathered = run(400, truckOf());
    sample(gathered, TIRE, 'pressure', 10, (s) => (s < 600 || s > 600 + 3 * 3600 - 40 ? 690 : null));
    sample(gathered, TIRE, 'temperature', 10, () => 18);
    expect(coldStartsOf(gathered, TIRE).atMs).toEqual([]);
  });
});

describe('a leak over days', () => {
  it('is told by what the tire had each cold morning, and its peers', () => {
    const { saw, plots } = picture(mornings([702, 690, 678, 666]), 4);
    expect(saw.map(text)).toEqual([
      `At <${3 * DAY_S + 200}> it was judged by its leak rate: 12.0 kPa/day (between 10.0 kPa/day and 14.0 kPa/day); the limit was 5.0 kPa/day.`,
      `Cold-equivalent pressure at cold starts within these data: 690 kPa at <${DAY_S}>, 678 kPa at <${2 * DAY_S}>, 666 kPa at <${3 * DAY_S}>.`,
      'The median of the tires that run like it was 690 kPa, 690 kPa and 690 kPa.',
    ]);
    const starts = plots[0]!.lines.find(({ label }) => label === 'at cold starts')!;
    expect([plots[0]!.fromS, starts.v, starts.gapS]).toEqual([0, [690, 678, 666], 0]);
    expect(plots.map(({ title }) => title)).not.toContain('Air lost beyond a harmless rate');
  });

  it('says so where no cold start lies within the data', () => {
    expect(picture(mornings([690]), 1).saw.map(text)).toContain(
      'No cold start lies within these data: what was found earlier is in the history.',
    );
  });

  it('goes on; what was lost at once and not after that is called into question', () => {
    const undecided =
      'unclear: These readings do not tell a slow loss of air from a sensor that drifts: both look like this. A gauge decides.';
    const hints = (own: number[], peers?: number[]) =>
      picture(mornings(own, peers), own.length).hints.map(({ points, words }) => `${points}: ${text(words)}`);
    expect(hints([702, 702, 690, 678, 666])).toEqual([undecided]);
    expect(hints([702, 702, 678, 678, 676]).join()).toMatch(
      new RegExp(`^unclear: .* between <${DAY_S}> and <${2 * DAY_S}>`),
    );
    // At the last morning: nobody knows whether it goes on.
    expect(hints([702, 702, 702, 702, 678])).toEqual([undecided]);
    // All fell: it is the weather that is in question, not this.
    expect(hints([702, 702, 678, 678, 678], [690, 690, 666, 666, 666])).toEqual([undecided]);
  });
});
