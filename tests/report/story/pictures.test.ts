import { beforeAll, describe, expect, it } from 'vitest';
import type { TruckConfig } from '../../../config/resolved.js';
import type { Measured } from '../../../daemon/alerts/event.js';
import { RULES, type SubjectKind } from '../../../daemon/alerts/rules.js';
import type { Plot } from '../../../report/data.js';
import type { Gathered } from '../../../report/gathered.js';
import { airSection } from '../../../report/story/air-section.js';
import { alertsOf } from '../../../report/story/alerts.js';
import { brakeSection } from '../../../report/story/brake-section.js';
import { PICTURES } from '../../../report/story/pictures.js';
import { windowsOf } from '../../../report/story/window.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, run } from '../support/by-hand.js';
import { cityShift, driveShift } from '../support/drive-shift.js';

const SUBJECTS: Record<SubjectKind, string> = {
  tire: 'tractor/2/left/outer',
  pair: 'tractor/2/left/pair',
  'wheel-end': 'tractor/2/left',
  brakes: 'brakes',
  'air/service': 'air/service',
  'air/supply': 'air/supply',
  layout: 'layout',
  trailer: 'trailer',
  fault: 'fault/main/48/117/18',
  lamp: 'lamp/main',
  bus: 'bus/main',
  source: 'source/main/48',
};

const MEASURED: (Measured | null)[] = [
  null,
  { code: 2, text: 'over-stroke', of: '2 of 3' },
  { silentS: 640 },
  { quantity: 'pushrod stroke', value: 53.1, limit: 50.8, unit: 'mm', quality: 'disputed' },
];

describe('every rule', () => {
  const names = RULES.map(({ name, subject }) => [name, SUBJECTS[subject]] as const);

  it.each(names)('%s has a picture, and it says something where nothing else was heard', (rule, subject) => {
    const draw = PICTURES[rule];
    expect(draw).toBeDefined();
    for (const config of [truckOf(), null] as (TruckConfig | null)[])
      for (const measured of MEASURED)
        for (const minutes of [0, 60]) {
          const gathered: Gathered = run(minutes, config);
          const alert = alertOf(
            gathered,
            rule,
            subject,
            [
              [30, 'raised', 'next-stop'],
              [90, 'worse', 'pull-over'],
            ],
            { measured },
          );
          const { plots, saw, hints } = draw!({ gathered, alert, ...windowsOf(gathered, alert)[0]! });
          expect(JSON.stringify([saw, hints])).not.toMatch(/NaN|undefined|null|Infinity/);
          for (const plot of plots) check(plot);
        }
  });
});

/** What the page takes for granted. */
function check({ axes, lines, limits, spans, title }: Plot): void {
  expect(lines.length, title).toBeGreaterThan(0);
  for (const { s, v, low, high, axis, label, breaks, gapS } of lines) {
    expect(axes[axis], `${title}: ${label}`).toBeDefined();
    expect(s.length).toBeGreaterThan(0);
    for (const list of [v, low ?? v, high ?? v]) expect(list).toHaveLength(s.length);
    expect([...s, ...v, gapS].every(Number.isFinite)).toBe(true);
    expect(
      s.every((x, i) => i === 0 || x >= s[i - 1]!),
      `${title}: ${label} is in the order of time`,
    ).toBe(true);
    for (const i of breaks ?? []) expect(i > 0 && i < s.length).toBe(true);
  }
  for (const { axis, value } of limits) {
    expect(axes[axis], title).toBeDefined();
    expect(Number.isFinite(value)).toBe(true);
  }
  for (const { fromS, toS } of spans) expect(toS, title).toBeGreaterThanOrEqual(fromS);
}

describe('a shift with many faults', () => {
  let gathered: Gathered;

  beforeAll(async () => {
    const shift = cityShift(
      [
        'mode: key, until: "0:00:20"',
        'mode: idle, until: "0:04:00", idleRpm: 1100',
        'mode: key, until: "0:15:00"',
        'mode: idle, until: "0:18:00", idleRpm: 1100',
        'mode: city, until: "0:40:00"',
      ],
      [
        'kind: air-leak, supplyKpaPerMin: 0, primaryKpaPerMin: 40, secondaryKpaPerMin: 0, from: "0:04:00", to: "0:16:00"',
        'kind: brake-overstroke, wheelEnd: tractor/2/left, from: "0:20:00", to: "0:40:00", aboveKpa: 120, extraMm: 18',
        'kind: brake-dragging, wheelEnd: tractor/1/left, from: "0:22:00", to: "0:30:00", heatKw: 30',
        'kind: brake-sensor, wheelEnd: tractor/1/right, from: "0:31:00", to: "0:33:00"',
        'kind: source-silent, source: 48, from: "0:35:00", to: "0:37:00"',
        'kind: fault-codes, source: 11, lamp: red, codes: [{spn: 118, fmi: 3, count: 1}], from: "0:38:00", to: "0:39:00"',
      ],
    );
    gathered = (await driveShift(shift)).gathered;
  });

  const all = (of: Gathered): string[] =>
    alertsOf(of).map((alert) =>
      JSON.stringify(PICTURES[alert.rule]!({ gathered: of, alert, ...windowsOf(of, alert)[0]! })),
    );

  it('has pictures that the page can draw, small enough for a stick, and the same every time', () => {
    const alerts = alertsOf(gathered);
    const rules = new Set(alerts.map(({ rule }) => rule));
    for (const rule of [
      'air-leaking',
      'brake-overstroke',
      'brake-dragging',
      'brake-sensor-fault',
      'source-silent',
      'fault-code',
    ])
      expect(rules).toContain(rule);
    const pictures = all(gathered);
    for (const [i, text] of pictures.entries()) {
      const { plots, saw } = JSON.parse(text) as { plots: Plot[]; saw: unknown[] };
      expect(saw.length, alerts[i]!.rule).toBeGreaterThan(0);
      expect(text).not.toMatch(/NaN|undefined/);
      for (const plot of plots) check(plot);
      expect(text.length, alerts[i]!.rule).toBeLessThan(80_000);
    }
    // A Gathered of its own has no memory of the first one.
    expect(all(structuredClone(gathered))).toEqual(pictures);
    for (const section of [brakeSection, airSection])
      expect(JSON.stringify(section(structuredClone(gathered)))).toBe(JSON.stringify(section(gathered)));
  });

  it('has pictures out of minutes, events and records alone, as a database keeps them', () => {
    const kept = { ...structuredClone(gathered), samples: new Map() };
    for (const alert of alertsOf(kept)) {
      const draw = PICTURES[alert.rule]!;
      const { plots, saw } = draw({ gathered: kept, alert, ...windowsOf(kept, alert)[0]! });
      expect(saw.length, alert.rule).toBeGreaterThan(0);
      for (const plot of plots) check(plot);
      // Applications are told by their records.
      if (alert.rule === 'brake-overstroke')
        expect(plots[0]!.lines.map(({ label }) => label)).toEqual([
          'tractor axle 2, left brake, worst of each application',
          'tractor axle 2, right brake, worst of each application',
          'peak of each application',
        ]);
    }
    expect(airSection(kept)!.tests.every(({ plot }) => plot === null)).toBe(true);
  });

  it('draws the planted drag where it was, and the heat of it', () => {
    const alert = alertsOf(gathered).find(({ rule }) => rule === 'brake-dragging')!;
    expect(alert.subject).toBe('tractor/1/left');
    const { hints, plots } = PICTURES['brake-dragging']!({ gathered, alert, ...windowsOf(gathered, alert)[0]! });
    expect(hints.map(({ points }) => points)).toEqual(['real']);
    const [state] = plots;
    const dragged = state!.lines[0]!.s.filter((_, i) => state!.lines[0]!.v[i] === 3);
    expect(dragged[0]! / 60).toBeGreaterThanOrEqual(22);
    expect(dragged.at(-1)! / 60).toBeLessThanOrEqual(30.1);
    expect(state!.lines[1]!.v.every((code) => code === 0)).toBe(true);
  });
});
