import { describe, expect, it } from 'vitest';
import type { Urgency } from '../../../config/resolved.js';
import type { Change } from '../../../daemon/alerts/event.js';
import { atS, spanOf, windowsOf } from '../../../report/story/window.js';
import fc from '../../support/property.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, run, sample, ZERO_MS } from '../support/by-hand.js';

const TIRE = 'tractor/2/left/outer';
const minutes = (gathered: ReturnType<typeof run>, ...changes: [number, Change, Urgency][]) =>
  windowsOf(
    gathered,
    alertOf(
      gathered,
      'tire-underinflated',
      TIRE,
      changes.map(([m, c, u]) => [m * 60, c, u]),
    ),
  ).map(({ fromMs, toMs }) => [(fromMs - ZERO_MS) / 60_000, (toMs - ZERO_MS) / 60_000]);

describe('the minutes that are shown of an alert', () => {
  it('reach from a quarter of an hour before the raise to ten minutes after its end', () => {
    expect(minutes(run(300), [100, 'raised', 'plan'], [130, 'cleared', 'plan'])).toEqual([[85, 140]]);
  });

  it('reach further back where the delay is longer: what was normal before it is seen', () => {
    const gathered = run(300, truckOf());
    // plan has to hold for 600 s, and five minutes before that are shown: a quarter of an hour.
    expect(minutes(gathered, [100, 'raised', 'plan'], [130, 'cleared', 'plan'])).toEqual([[85, 140]]);
    gathered.config = truckOf();
    const alert = alertOf(gathered, 'tires-off-target', 'layout', [
      [6000, 'raised', 'plan'],
      [6600, 'cleared', 'plan'],
    ]);
    expect((windowsOf(gathered, alert)[0]!.fromMs - ZERO_MS) / 60_000).toBe(65);
  });

  it('reach back to the first point of the evidence', () => {
    const gathered = run(300);
    const alert = alertOf(
      gathered,
      'tire-losing-air',
      TIRE,
      [
        [6000, 'raised', 'plan'],
        [6300, 'cleared', 'plan'],
      ],
      {
        evidence: {
          quantity: 'cold pressure',
          unit: 'kPa',
          points: [
            [25 * 60_000, 690],
            [0, 600],
          ],
        },
      },
    );
    expect((windowsOf(gathered, alert)[0]!.fromMs - ZERO_MS) / 60_000).toBe(70);
  });

  it('reach back to what a silent sensor told last, an hour at most', () => {
    const silent = (lastMinute: number): number => {
      const gathered = run(300);
      sample(gathered, TIRE, 'pressure', 10, (s) => (s <= lastMinute * 60 ? 690 : null));
      const alert = alertOf(gathered, 'tire-sensor-silent', TIRE, [[6000, 'raised', 'plan']], {
        measured: { silentS: 300 },
      });
      return (windowsOf(gathered, alert)[0]!.fromMs - ZERO_MS) / 60_000;
    };
    expect([95, 70, 20].map(silent)).toEqual([85, 65, 40]);
  });

  it('go on for half an hour where the alert is still open', () => {
    expect(minutes(run(300), [100, 'raised', 'plan'])).toEqual([[85, 130]]);
  });

  it('end where the data end', () => {
    expect(minutes(run(60), [5, 'raised', 'plan'], [55, 'cleared', 'plan'])).toEqual([[0, 60]]);
  });

  it('are several for an alert of many hours: its raise, later rises, its end', () => {
    expect(
      minutes(
        run(900),
        [100, 'raised', 'plan'],
        [160, 'unsure', 'plan'],
        [400, 'worse', 'next-stop'],
        [410, 'worse', 'pull-over'],
        [800, 'cleared', 'pull-over'],
      ),
    ).toEqual([
      [85, 170],
      [380, 420],
      [780, 810],
    ]);
  });

  it('are at most four, within the data, in order, apart, and hold the raise and the end', () => {
    const changes = fc.array(
      fc.tuple(
        fc.integer({ min: 1, max: 200 }),
        fc.constantFrom<Change>('worse', 'better', 'unsure', 'sure', 'reopened'),
      ),
      { maxLength: 30 },
    );
    fc.assert(
      fc.property(changes, fc.boolean(), (steps, isOver) => {
        let m = 20;
        const list = steps.map(([by, change]): [number, Change, Urgency] => {
          m += by;
          return [m, change, 'plan'];
        });
        const end = m + 100;
        const all: [number, Change, Urgency][] = [
          [20, 'raised', 'plan'],
          ...list,
          ...(isOver ? [[end, 'cleared', 'plan'] as [number, Change, Urgency]] : []),
        ];
        const windows = minutes(run(end + 50), ...all);
        expect(windows.length).toBeLessThanOrEqual(4);
        expect(
          windows.every(
            ([from, to], i) => from! >= 0 && from! < to! && to! <= end + 50 && (i === 0 || from! > windows[i - 1]![1]!),
          ),
        ).toBe(true);
        expect(windows[0]![0]! <= 20 && 20 <= windows[0]![1]!).toBe(true);
        if (isOver) expect(windows.at(-1)![1]).toBeGreaterThanOrEqual(end);
      }),
    );
  });
});

describe('instants', () => {
  it('count from the beginning of the first run, to a tenth of a second', () => {
    const gathered = run(10);
    expect(spanOf(gathered)).toEqual({ fromMs: ZERO_MS, toMs: ZERO_MS + 600_000 });
    expect(atS(gathered, ZERO_MS + 12_345)).toBe(12.3);
  });

  it('count from the first reading where no run is known', () => {
    const gathered = { ...run(10), runs: [] as [] };
    sample({ ...gathered, runs: run(10).runs }, TIRE, 'pressure', 10, (s) => (s >= 60 ? 1 : null));
    expect(spanOf(gathered)).toEqual({ fromMs: ZERO_MS + 60_000, toMs: ZERO_MS + 600_000 });
  });

  it('are at nothing where there is nothing', () => {
    const gathered = { ...run(10), runs: [] };
    expect(spanOf(gathered)).toEqual({ fromMs: 0, toMs: 0 });
  });
});
