import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import type { Hint } from '../../../report/data.js';
import { type Gathered, seriesKey } from '../../../report/gathered.js';
import { alertsOf } from '../../../report/story/alerts.js';
import { TIRE_PICTURES } from '../../../report/story/tire-pictures.js';
import { windowsOf } from '../../../report/story/window.js';
import { shift } from '../../simulator/support.js';
import { alertOf, text } from '../support/by-hand.js';
import { driveShift } from '../support/drive-shift.js';

/* Simulated shifts, of which it is known what was wrong: a hint may be left out, but it must not point the wrong way. */

const LEAKS = 'tractor/2/left/outer';
const STUCK = 'trailer/1/right/inner';
const SILENT = 'tractor/3/right/inner';
const DRAGS = 'trailer/2/left';

/** One hour of highway: after 10 minutes of warming up. */
const { gathered: broken } = await driveShift(
  shift(4711, (file) => {
    file.faults = [
      { kind: 'tire-leak', tire: LEAKS, phases: [{ from: '0:25:00', kpaPerMin: 12 }], to: '0:45:00' },
      { kind: 'sensor-stuck', tire: STUCK, from: '0:10:00', to: '1:00:00' },
      { kind: 'sensor-silent', tire: SILENT, from: '0:25:00', to: '1:00:00' },
      { kind: 'brake-dragging', wheelEnd: DRAGS, heatKw: 20, from: '0:20:00', to: '0:50:00' },
    ];
  }),
);

/** Filled to 88 %, all of them; then three sensors of the trailer and a burst tire with its sensor fall silent. */
const SILENT_TOGETHER = ['trailer/1/left/outer', 'trailer/1/left/inner', 'trailer/2/right/outer'];
const BURST = 'tractor/3/left/outer';
const { gathered: low } = await driveShift(
  shift(4712, (file) => {
    file.tires = { ...file.tires, share: 0.88, spread: 0.01 };
    file.faults = [
      ...SILENT_TOGETHER.map((tire) => ({ kind: 'sensor-silent', tire, from: '0:30:00', to: '1:00:00' }) as const),
      { kind: 'tire-leak', tire: BURST, phases: [{ from: '0:24:00', kpaPerMin: 25 }], to: '0:30:00' },
      { kind: 'sensor-silent', tire: BURST, from: '0:30:00', to: '1:00:00' },
    ];
  }),
);

function hintsOf(gathered: Gathered, rule: RuleName, subject: string): Hint[] {
  const alert = alertsOf(gathered).find((a) => a.rule === rule && a.subject === subject);
  expect(alert, `${rule} ${subject} was raised`).toBeDefined();
  return TIRE_PICTURES[rule]!({ gathered, alert: alert!, ...windowsOf(gathered, alert!)[0]! }).hints;
}

/** As if the rule had been raised at that minute, whatever the truck said. */
function asIf(gathered: Gathered, rule: RuleName, subject: string, minute: number): Hint[] {
  const alert = alertOf(gathered, rule, subject, [[minute * 60, 'raised', 'plan']]);
  const beginMs = gathered.runs[0]!.fromMs;
  alert.fromMs = beginMs + minute * 60_000;
  alert.events[0]!.atMs = alert.fromMs;
  return TIRE_PICTURES[rule]!({ gathered, alert, fromMs: beginMs + 5 * 60_000, toMs: gathered.runs[0]!.toMs }).hints;
}

const ways = (hints: Hint[]): string[] => [...new Set(hints.map(({ points }) => points))];
const said = (hints: Hint[]): string => hints.map(({ words }) => text(words)).join(' | ');

/** The same data with the readings of one tire changed. */
function changed(gathered: Gathered, tire: string, of: (kpa: number, i: number) => number): Gathered {
  const samples = new Map(gathered.samples);
  const series = samples.get(seriesKey(tire, 'pressure'))!;
  samples.set(seriesKey(tire, 'pressure'), { ...series, value: series.value.map(of) });
  return { ...gathered, samples };
}

describe('a real leak', () => {
  it('is called real, by its line, and never a bad sensor', () => {
    const hints = hintsOf(broken, 'tire-losing-air', LEAKS);
    expect(ways(hints)).toEqual(['real']);
    expect(said(hints)).toContain('along a line');
  });

  it('is so by minutes only as well', () => {
    const bare = { ...broken, samples: new Map() };
    expect(ways(hintsOf(bare, 'tire-losing-air', LEAKS))).toEqual(['real']);
  });

  it('before a sensor falls silent is told first', () => {
    const hints = asIf(low, 'tire-sensor-silent', BURST, 35);
    expect(
      hints
        .filter(({ points }) => points === 'real')
        .map(({ words }) => text(words))
        .join(),
    ).toContain('look at the tire first');
  });
});

describe('a bad sensor', () => {
  it('that repeats itself while others grow warm is called one', () => {
    const hints = asIf(broken, 'tire-underinflated', STUCK, 40);
    expect(ways(hints)).toEqual(['sensor']);
    expect(said(hints)).toMatch(/same pressure and temperature \d+ times in a row/);
  });

  it('that jumps is called one; a single wrong reading is not', () => {
    const at = (...wrong: number[]) =>
      changed(broken, 'tractor/2/right/outer', (kpa, i) => (wrong.includes(i) ? kpa - 120 : kpa));
    const hints = asIf(at(100, 150, 200), 'tire-underinflated', 'tractor/2/right/outer', 40);
    expect(ways(hints)).toEqual(['sensor']);
    expect(said(hints)).toMatch(/^Three times a single reading/);
    expect(ways(asIf(at(100), 'tire-underinflated', 'tractor/2/right/outer', 40))).toEqual(['unclear']);
  });

  it('that falls in one step and stays there is called one; a leak as fast goes on', () => {
    const stepped = changed(broken, 'tractor/2/right/outer', (kpa, i) => (i < 150 ? kpa : kpa - 80));
    const hints = asIf(stepped, 'tire-underinflated', 'tractor/2/right/outer', 40);
    expect(ways(hints)).toEqual(['sensor']);
    expect(said(hints)).toContain('between two readings 10 s apart');
    const leaking = changed(broken, 'tractor/2/right/outer', (kpa, i) =>
      i < 150 ? kpa : Math.max(0, kpa - 80 - 40 * (i - 150)),
    );
    expect(ways(asIf(leaking, 'tire-losing-air', 'tractor/2/right/outer', 40))).not.toContain('sensor');
  });

  it('that is silent alone is called one; with others of its trailer the receiver is in question', () => {
    const alone = hintsOf(broken, 'tire-sensor-silent', SILENT);
    expect(ways(alone)).toEqual(['sensor']);
    expect(said(alone)).toContain('All 17 other tires were heard');
    const together = hintsOf(low, 'tire-sensor-silent', SILENT_TOGETHER[0]!);
    expect(ways(together)).toEqual(['unclear']);
    expect(said(together)).toContain('receiver');
  });

  it('that was silent before is told of', () => {
    const hints = asIf(broken, 'tire-underinflated', SILENT, 55);
    expect(said(hints)).toContain('this sensor had been silent');
  });
});

describe('what all have in common', () => {
  it('is no fault of one wheel: filled low, all of them', () => {
    const hints = asIf(low, 'tire-underinflated', 'tractor/2/right/outer', 20);
    expect(ways(hints)).toEqual(['unclear']);
    expect(said(hints)).toMatch(/of the \d that run like this one stand within/);
  });
});

describe('a dragging brake', () => {
  it.each(['outer', 'inner'])('heats the %s tire: its twin, its brake and the gas law agree', (position) => {
    const hints = asIf(broken, 'tire-hot', `${DRAGS}/${position}`, 45);
    expect(ways(hints)).toEqual(['real']);
    expect(said(hints)).toContain('The brake of this wheel end dragged');
    expect(said(hints)).toContain('above its peers as well');
  });

  it('is a warning where the pressure of such a tire is judged', () => {
    const hints = asIf(broken, 'tire-underinflated', `${DRAGS}/outer`, 45);
    expect(ways(hints)).toEqual(['unclear']);
  });
});

describe('healthy tires', () => {
  const faulty = [LEAKS, STUCK, SILENT];
  const healthy = [...broken.samples.keys()]
    .map((key) => key.split(' '))
    .filter(([subject, ...quantity]) => subject!.split('/').length === 4 && quantity.join(' ') === 'pressure')
    .map(([subject]) => subject!)
    .filter((tire) => !faulty.includes(tire) && !tire.startsWith(DRAGS));

  it.each(['tire-underinflated', 'tire-losing-air', 'tire-overinflated', 'tire-sensor-fault'] as const)(
    'have no hint under %s that says more than that a gauge decides, whichever it is',
    (rule) => {
      expect(healthy).toHaveLength(13);
      for (const tire of healthy)
        expect(
          asIf(broken, rule, tire, 40)
            .map(({ words }) => text(words))
            .filter((words) => !/A gauge decides\.$/.test(words)),
          tire,
        ).toEqual([]);
    },
  );

  it('have no hint to their sensor where they are hot', () => {
    for (const tire of healthy) expect(ways(asIf(broken, 'tire-hot', tire, 40)), tire).not.toContain('sensor');
  });
});
