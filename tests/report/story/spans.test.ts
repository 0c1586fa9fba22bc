import { describe, expect, it } from 'vitest';
import type { Scene } from '../../../report/story/picture.js';
import { changeMarks, delaySpans, limitLines, openOf, otherSpans } from '../../../report/story/spans.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, event, run, ZERO_MS } from '../support/by-hand.js';

const TIRE = 'tractor/2/left/outer';
const END_S = 4 * 3600;
const shifts = () => run(END_S / 60, truckOf());

/** All of the run as the window, or so many seconds of it. */
function scene(gathered: Scene['gathered'], alert: Scene['alert'], fromS = 0, toS = END_S): Scene {
  return { gathered, alert, fromMs: ZERO_MS + fromS * 1000, toMs: ZERO_MS + toS * 1000 };
}

const spansOf = (s: Scene) => delaySpans(s).map(({ kind, fromS, toS }) => [kind, fromS, toS]);

// config/defaults.yaml, tire-underinflated: plan 600 s both ways, next-stop 120 s both ways.
function story(gathered: Scene['gathered']) {
  const alert = alertOf(gathered, 'tire-underinflated', TIRE, [
    [1000, 'raised', 'plan'],
    [2000, 'worse', 'next-stop'],
    [3000, 'better', 'plan'],
    // An ended alert names the worst it reached.
    [5000, 'cleared', 'next-stop'],
  ]);
  alert.events[2]!.draft.was = 'next-stop';
  alert.events[3]!.draft.was = 'plan';
  return alert;
}

describe('delays', () => {
  it('lie before each decision, as long as the limit of the level that was reached or left asks for', () => {
    const gathered = shifts();
    expect(spansOf(scene(gathered, story(gathered)))).toEqual([
      ['raising', 400, 1000],
      ['raising', 1880, 2000],
      ['clearing', 2880, 3000],
      ['clearing', 4400, 5000],
      ['open', 1000, 5000],
    ]);
  });

  it('are cut to the window', () => {
    const gathered = shifts();
    expect(spansOf(scene(gathered, story(gathered), 700, 1900))).toEqual([
      ['raising', 700, 1000],
      ['raising', 1880, 1900],
      ['open', 1000, 1900],
    ]);
  });

  it('are those of the further limit whose source the event names, when it clears as well', () => {
    const gathered = shifts();
    const { criteria } = gathered.config!.rules['tire-hot'];
    const alert = alertOf(gathered, 'tire-hot', TIRE, [
      [1000, 'raised', 'next-stop'],
      [3000, 'cleared', 'next-stop'],
    ]);
    alert.events[0]!.draft.basis = criteria['above-peers']!.basis;
    // above-peers: 300 s; next-stop itself: 180 s.
    expect(spansOf(scene(gathered, alert))).toEqual([
      ['raising', 700, 1000],
      ['clearing', 2700, 3000],
      ['open', 1000, 3000],
    ]);
  });

  it('are none where readings are counted, or where the truck file is not known', () => {
    const counted = shifts();
    const silent = alertOf(counted, 'tire-losing-air', TIRE, [[1000, 'raised', 'next-stop']]);
    silent.events[0]!.draft.basis = counted.config!.rules['tire-losing-air'].criteria['next-stop']!.basis;
    expect(spansOf(scene(counted, silent))).toEqual([['open', 1000, END_S]]);
    const bare = run(END_S / 60);
    expect(spansOf(scene(bare, story(bare)))).toEqual([['open', 1000, 5000]]);
  });

  it('tell when the data were too old to tell', () => {
    const gathered = run(END_S / 60);
    const changes = [
      [1000, 'raised', 'plan'],
      [2000, 'unsure', 'plan'],
      [2500, 'sure', 'plan'],
      [3000, 'unsure', 'plan'],
    ] as const;
    expect(spansOf(scene(gathered, alertOf(gathered, 'tire-underinflated', TIRE, [...changes])))).toEqual([
      ['unsure', 2000, 2500],
      ['unsure', 3000, END_S],
      ['open', 1000, END_S],
    ]);
  });

  it('an alert that was reopened was not open in between', () => {
    const changes = ['raised', 'cleared', 'reopened', 'closed'] as const;
    const events = changes.map((change, i) => event('1', 'tire-hot', TIRE, [100 * (i + 1), change, 'plan']));
    expect(openOf(events, ZERO_MS + 9e6)).toEqual([
      [ZERO_MS + 100_000, ZERO_MS + 200_000],
      [ZERO_MS + 300_000, ZERO_MS + 400_000],
    ]);
  });
});

describe('limits', () => {
  it('are drawn where they raise and clear, in the unit of the axis', () => {
    const gathered = shifts();
    const look = { axis: 0, unit: 'kPa', toAxis: (share: number) => share * 689.5 } as const;
    const lines = limitLines(scene(gathered, story(gathered)), look);
    expect(lines.map(({ kind, urgency, value }) => [kind, urgency, Math.round(value)])).toEqual([
      ['raise', 'plan', 621],
      ['clear', 'plan', 641],
      ['raise', 'next-stop', 552],
      ['clear', 'next-stop', 579],
      ['raise', 'pull-over', 345],
      ['clear', 'pull-over', 414],
    ]);
    expect(lines[2]!.label).toBe('next stop: raise at 551.6 kPa');
  });

  it('are named by the unit that people read', () => {
    const gathered = run(10, truckOf(`${truckText()}show: {pressure: psi, temperature: °F, position: exact}\n`));
    const alert = alertOf(gathered, 'tire-hot', TIRE, [[10, 'raised', 'next-stop']]);
    const onlyAbsolute = (v: number, name: string): number | null => (name === 'above-peers' ? null : v);
    const lines = limitLines(scene(gathered, alert), { axis: 1, unit: '°C', toAxis: onlyAbsolute });
    // 110 °C is 230 °F.
    expect(lines.map(({ label }) => label)).toContain('next stop: raise at 230 °F');
    expect(lines.every(({ axis }) => axis === 1)).toBe(true);
  });

  it('are none where a state is judged, where the axis is another, and where the truck file is not known', () => {
    const gathered = shifts();
    const silent = alertOf(gathered, 'tire-sensor-silent', TIRE, [[10, 'raised', 'plan']]);
    expect(limitLines(scene(gathered, silent), { axis: 0, unit: 'kPa' })).toEqual([]);
    expect(limitLines(scene(gathered, story(gathered)), { axis: 0, unit: 'kPa', toAxis: () => null })).toEqual([]);
    const bare = run(10);
    expect(limitLines(scene(bare, story(bare)), { axis: 0, unit: 'kPa' })).toEqual([]);
  });
});

describe('what else is marked', () => {
  it('every change within the window, with its level where that changed', () => {
    const gathered = shifts();
    expect(changeMarks(scene(gathered, story(gathered), 0, 3000)).map(({ s, label }) => [s, label])).toEqual([
      [1000, 'raised: plan'],
      [2000, 'worse: next stop'],
      [3000, 'better: plan'],
    ]);
  });

  it('gaps, and what was withheld of the same subject, as far as they touch the window', () => {
    const gathered = shifts();
    const at = (fromS: number, toS: number) => ({ fromMs: ZERO_MS + fromS * 1000, toMs: ZERO_MS + toS * 1000 });
    const muted = { rule: 'tire-underinflated', urgency: 'plan', by: 'tire-losing-air' } as const;
    gathered.gaps = [at(100, 200), at(900, 1100), at(5000, 6000)];
    gathered.muted = [
      { ...at(500, 1500), ...muted, subject: TIRE },
      { ...at(500, 1500), ...muted, subject: 'tractor/3/left/outer' },
    ];
    expect(otherSpans(scene(gathered, story(gathered), 1000, 3000))).toEqual([
      { kind: 'gap', fromS: 1000, toS: 1100, label: 'nothing heard for 3 min' },
      { kind: 'muted', fromS: 1000, toS: 1500, label: 'tire-underinflated not told: tire-losing-air' },
    ]);
  });
});

function truckText(): string {
  return `fleet: northline
truck: T-1042
buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {kind: steer, tires: single, coldPressure: 120 psi}
      - {kind: drive, tires: dual, coldPressure: 100 psi}
`;
}
