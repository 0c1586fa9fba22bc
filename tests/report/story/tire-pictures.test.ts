import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import { RULES } from '../../../daemon/alerts/rules.js';
import type { Line, Plot } from '../../../report/data.js';
import type { Gathered } from '../../../report/gathered.js';
import { alertsOf } from '../../../report/story/alerts.js';
import type { Picture } from '../../../report/story/picture.js';
import { TIRE_PICTURES } from '../../../report/story/tire-pictures.js';
import { windowsOf } from '../../../report/story/window.js';
import { shift } from '../../simulator/support.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, run, sample, text, ZERO_MS } from '../support/by-hand.js';
import { driveShift } from '../support/drive-shift.js';

const PAIR = 'tractor/2/left/pair';
const OUTER = 'tractor/2/left/outer';
const INNER = 'tractor/2/left/inner';

/** One sensor tells ever less, another tire really loses its air. */
const { gathered: shifted } = await driveShift(
  shift(4713, (file) => {
    file.faults = [
      { kind: 'sensor-drift', tire: OUTER, kpaPerHour: -110, from: '0:10:00', to: '1:00:00' },
      { kind: 'tire-leak', tire: 'trailer/2/right/inner', phases: [{ from: '0:30:00', kpaPerMin: 8 }], to: '0:50:00' },
    ];
  }),
);

function pictureOf(gathered: Gathered, rule: RuleName, subject: string) {
  const alert = alertsOf(gathered).find((a) => a.rule === rule && a.subject === subject)!;
  expect(alert, `${rule} ${subject} was raised`).toBeDefined();
  const picture = TIRE_PICTURES[rule]!({ gathered, alert, ...windowsOf(gathered, alert)[0]! });
  return { alert, picture };
}

const lineAt = (line: Line, s: number): number => line.v[line.s.findLastIndex((x) => x <= s)]!;
const lineOf = (plot: Plot, label: string): Line => plot.lines.find((line) => line.label === label)!;

describe('what is judged, worked out anew', () => {
  it('is the difference of a pair that the event tells', () => {
    const { alert, picture } = pictureOf(shifted, 'duals-unequal', PAIR);
    const { atMs, draft } = alert.events[0]!;
    const judged = lineOf(picture.plots[1]!, 'median of 15 min, as judged');
    const told = draft.measured as { value: number };
    const s = (atMs - shifted.runs[0]!.fromMs) / 1000;
    // The truck keeps one difference in fifteen seconds, and rounds to the step of 4 kPa.
    expect(Math.abs(lineAt(judged, s) - told.value)).toBeLessThanOrEqual(4);
  });

  it('is past a limit where a leak was raised, and far from any before it began', () => {
    const { alert, picture } = pictureOf(shifted, 'tire-losing-air', 'trailer/2/right/inner');
    const plot = picture.plots.find(({ title }) => title === 'Air lost beyond a harmless rate')!;
    const s = (alert.events[0]!.atMs - shifted.runs[0]!.fromMs) / 1000;
    const [steady, rapid] = plot.lines as [Line, Line];
    // config/defaults.yaml: next-stop 12 kPa, or by its forecast from 9 kPa on; pull-over 7 kPa.
    expect(lineAt(steady, s) >= 9 || lineAt(rapid, s) >= 7).toBe(true);
    expect(lineAt(steady, 30 * 60 - 10)).toBeLessThan(9);
  });
});

describe('a sensor that drifts', () => {
  it('cannot be told from a slow leak by these data, which is what its hint says', () => {
    const { picture } = pictureOf(shifted, 'duals-unequal', PAIR);
    expect(picture.hints.map(({ points, words }) => `${points}: ${text(words)}`).join()).toMatch(
      /^unclear: These readings do not tell .* from a sensor that (?:drifts|is off): both look like this\. A gauge/,
    );
    expect(text(picture.saw[0]!)).toMatch(/the outer tire had \d+ kPa less than the other/);
  });
});

describe('a pair', () => {
  const made = (outer: (s: number) => number) => {
    const gathered = run(90, truckOf());
    sample(gathered, OUTER, 'pressure', 10, outer);
    sample(gathered, INNER, 'pressure', 10, () => 690);
    for (const tire of [OUTER, INNER]) sample(gathered, tire, 'temperature', 10, () => 18);
    const alert = alertOf(gathered, 'duals-unequal', PAIR, [[3600, 'raised', 'plan']]);
    const scene = { gathered, alert, fromMs: ZERO_MS + 1_800_000, toMs: ZERO_MS + 5_400_000 };
    return TIRE_PICTURES['duals-unequal']!(scene);
  };

  it('that was unequal from the first reading on lost nothing here', () => {
    const { hints } = made(() => 630);
    expect(hints.map(({ points }) => points)).toEqual(['unclear']);
    expect(text(hints[0]!.words)).toContain('from the first reading on, at <0>');
  });

  it('of which one tire leaks has its hint named', () => {
    const { hints, saw } = made((s) => Math.round(690 - Math.max(0, Math.min(60, (s - 2400) / 20))));
    expect(hints.map(({ points, words }) => [points, words[0]])).toEqual([['real', 'Outer tire: ']]);
    expect(text(saw[1]!)).toMatch(
      /^Outer tire: It had been falling since about <24\d\d>, 3\.0 kPa\/min over \d+ (?:s|min)/,
    );
    expect(text(saw[2]!)).toMatch(/^Outer tire: Cold-equivalent pressure fell/);
  });

  it('shows the limits of the road, and not those of a cold start that nobody met', () => {
    const { plots } = made(() => 630);
    expect(plots[1]!.limits.map(({ label }) => label)).toEqual(['plan: raise at 48 kPa', 'plan: clear at 34 kPa']);
  });
});

describe('all tires off their target', () => {
  it('are shares with their median and the two limits on either side', () => {
    const gathered = run(90, truckOf());
    for (const [i, end] of ['tractor/2/left', 'tractor/2/right', 'tractor/3/left', 'tractor/3/right'].entries())
      for (const position of ['outer', 'inner']) {
        sample(gathered, `${end}/${position}`, 'pressure', 10, () => 689.4757 * (0.91 + 0.01 * i));
        sample(gathered, `${end}/${position}`, 'temperature', 10, () => 18);
      }
    const alert = alertOf(gathered, 'tires-off-target', 'layout', [[3600, 'raised', 'plan']], {
      measured: { quantity: 'median share of cold pressure', value: 0.925, limit: 1, unit: 'share', quality: 'good' },
    });
    const { plots, saw, hints } = TIRE_PICTURES['tires-off-target']!({
      gathered,
      alert,
      fromMs: ZERO_MS,
      toMs: ZERO_MS + 5_400_000,
    });
    expect(new Set(lineOf(plots[0]!, 'median of all tires').v)).toEqual(new Set([0.925]));
    expect(plots[0]!.lines).toHaveLength(9);
    // lowShare 4 %, highShare 12 %, left at three quarters of the way back.
    expect(plots[0]!.limits.map(({ value }) => value)).toEqual([1, 0.96, 0.97, 0.88, 1.04, 1.03, 1.12]);
    expect(saw.map(text)).toEqual([
      'At <3600> all tires were judged together: the median share was 92.5 %.',
      'Eight tires stood between 91 % and 94 % of target then, by cold-equivalent pressure; the median was 92 %.',
    ]);
    expect(hints.map(({ points }) => points)).toEqual(['unclear']);
    expect(text(hints[0]!.words)).toContain('A gauge on a few cold tires decides.');
  });
});

describe('a sensor that is silent', () => {
  it('was heard last, and again', () => {
    const gathered = run(90, truckOf());
    sample(gathered, OUTER, 'pressure', 10, (s) => (s <= 1200 || s >= 4500 ? 690 : null));
    sample(gathered, OUTER, 'temperature', 10, (s) => (s <= 1200 || s >= 4500 ? 20 : null));
    sample(gathered, INNER, 'pressure', 10, () => 690);
    sample(gathered, 'tractor/3/left/outer', 'pressure', 10, (s) => (s < 1200 ? 690 : null));
    sample(gathered, 'tractor', 'speed', 1, (s) => (s < 3000 ? 80 : 0));
    const alert = alertOf(gathered, 'tire-sensor-silent', OUTER, [[1800, 'raised', 'plan']], {
      measured: { silentS: 600 },
    });
    const { saw } = TIRE_PICTURES['tire-sensor-silent']!({
      gathered,
      alert,
      fromMs: ZERO_MS,
      toMs: ZERO_MS + 5_400_000,
    });
    expect(saw.map(text)).toEqual([
      'It was last heard at <1200>, with 690 kPa and 20 °C. Until then it was heard every 10 s.',
      'Of 17 other tires one was heard meanwhile.',
      'It was heard again at <4500>, after 55 min (30 min of driving), with 690 kPa.',
    ]);
  });

  it('never heard while others are has no plot of the weather, and may have no sensor', () => {
    const gathered = run(90, truckOf());
    for (const side of ['left', 'right'])
      for (const axle of [2, 3]) sample(gathered, `tractor/${axle}/${side}/outer`, 'pressure', 10, () => 690);
    sample(gathered, 'tractor', 'temperature', 10, () => 10);
    const never = (tire: string) => {
      const alert = alertOf(gathered, 'tire-sensor-silent', tire, [[1800, 'raised', 'plan']]);
      return TIRE_PICTURES['tire-sensor-silent']!({ gathered, alert, fromMs: ZERO_MS, toMs: ZERO_MS + 5_400_000 });
    };
    const { plots, saw, hints } = never('tractor/1/left/single');
    expect(plots).toEqual([]);
    expect(saw.map(text)).toEqual(['It was never heard before in these data.']);
    expect(hints.map(({ points, words }) => `${points}: ${text(words)}`).join()).toMatch(
      /^unclear: Four other tires of 17 were heard in these minutes and this one never: a wheel without a sensor/,
    );
    expect(text(never(OUTER).hints[0]?.words ?? [])).not.toContain('this one never');
  });

  it('never heard, of a unit', () => {
    const gathered = run(90, truckOf());
    sample(gathered, OUTER, 'pressure', 10, () => 690);
    const alert = alertOf(gathered, 'tire-sensor-silent', 'layout', [[1800, 'raised', 'plan']]);
    const { saw } = TIRE_PICTURES['tire-sensor-silent']!({
      gathered,
      alert,
      fromMs: ZERO_MS,
      toMs: ZERO_MS + 5_400_000,
    });
    expect(text(saw[0]!)).toMatch(
      /^In these data 17 tires of 18 were never heard: tractor axle 1, left tire, .* and more\.$/,
    );
  });
});

describe('every rule on tires', () => {
  const rules = RULES.filter(({ family }) => family === 'tires');
  const subjects: Record<string, string> = { tire: OUTER, pair: PAIR, layout: 'layout', trailer: 'trailer' };

  const show = (gathered: Gathered, rule: RuleName, kind: string): Picture => {
    const alert = alertOf(gathered, rule, subjects[kind]!, [[1800, 'raised', 'plan']]);
    return TIRE_PICTURES[rule]!({ gathered, alert, fromMs: ZERO_MS, toMs: ZERO_MS + 3_600_000 });
  };

  it.each(rules.map(({ name, subject }) => [name, subject] as const))(
    '%s has something to say, whatever is known',
    (rule, kind) => {
      const heard = run(60, truckOf());
      for (const tire of [OUTER, INNER]) {
        sample(heard, tire, 'pressure', 10, () => 690);
        sample(heard, tire, 'temperature', 10, () => 18);
      }
      sample(heard, 'tractor', 'speed', 1, () => 80);
      for (const gathered of [heard, { ...heard, config: null }, run(60, truckOf()), run(60)]) {
        const { plots, saw } = show(gathered, rule, kind);
        expect(saw.length).toBeGreaterThan(0);
        expect(saw.every((words) => /^[A-Z].*\.$/.test(text(words)))).toBe(true);
        for (const { lines, axes, fromS, toS } of plots) {
          expect(lines.length).toBeGreaterThan(0);
          for (const { s, v, axis } of lines) {
            expect(axis).toBeLessThan(axes.length);
            expect(s).toHaveLength(v.length);
            expect(s.every((x) => x >= fromS && x <= toS)).toBe(true);
            expect(v.every(Number.isFinite)).toBe(true);
          }
        }
      }
      expect(show(heard, rule, kind).plots.length).toBeGreaterThan(0);
    },
  );
});
