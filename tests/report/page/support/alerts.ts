import type { AlertStory, Line, Plot } from '../../../../report/data.js';
import { noise, wave } from './waves.js';

const CHECKS = [
  { do: 'Chock the wheels, parking brake on, keys in your pocket.', tool: 'wheel chocks' },
  {
    do: 'Gauge the pressure cold, or note that it is hot and compare with the other tire of the pair.',
    tool: 'tire gauge',
  },
  { do: 'Soap the valve, the stem and the bead; look for a nail in the tread.', tool: 'soap and water' },
];

const SENSOR_OR_REAL = [
  'A gauge that agrees with the sensor: the tire is the problem. A gauge that reads the target: the sensor is.',
  'Swap the sensor with its neighbour: a bad sensor takes its reading along, a bad tire does not.',
];

/** A leak: cold-equivalent against its limits, raw with temperature, mates; a gap, delays, a worse level. */
export function losingAir(): AlertStory {
  const [fromS, toS] = [2100, 5400];
  const cold = (s: number): number =>
    758 - Math.max(0, s - 2100) * (s < 3900 ? 0.02 : s < 4800 ? 0.083 : 0) - (s > 3900 ? 36 : 0);
  const holes: [number, number][] = [[2700, 3020]];
  const line = (label: string, role: Line['role'], value: (s: number) => number, seed: number): Line =>
    wave({
      label,
      role,
      fromS,
      toS,
      stepS: 10,
      value: (s) => Math.round((value(s) + 3 * noise(seed, s)) / 4) * 4,
      holes,
      gapS: 60,
    });
  return {
    id: 'T-1042.k3v9.1',
    cause: null,
    rule: 'tire-losing-air',
    subject: 'tractor/2/left/outer',
    place: 'tractor axle 2 left outer',
    what: 'losing air',
    kind: 'equipment',
    worst: 'pull-over',
    fromS: 3960,
    toS: 5700,
    end: 'closed: said to be repaired (the readings had not come back to good by then)',
    changes: [
      {
        s: 3960,
        change: 'raised',
        urgency: 'next-stop',
        words: 'losing 5.0 kPa/min (limit 1.75 kPa/min)',
        who: null,
        note: null,
      },
      {
        s: 4200,
        change: 'taken',
        urgency: 'next-stop',
        words: 'somebody has it',
        who: 'Anna',
        note: 'driver called, stops at the scales',
      },
      { s: 4830, change: 'worse', urgency: 'pull-over', words: 'losing 28 kPa/min', who: null, note: null },
      { s: 5700, change: 'closed', urgency: 'pull-over', words: 'said to be repaired', who: 'Anna', note: null },
    ],
    saw: [
      ['Cold-equivalent pressure fell from 110 psi to 74 psi between ', { atS: 2100 }, ' and ', { atS: 5040 }, '.'],
      ['The other seven tires of its kind stayed within 1 psi of their own pressure.'],
      ['Nothing was heard of it between ', { atS: 2700 }, ' and ', { atS: 3020 }, '.'],
    ],
    judged: [
      {
        name: 'rapid',
        urgency: 'pull-over',
        raise: 'at 12 kPa of fall since it began, on 2 readings',
        clear: 'below 4 kPa for 120 s',
        basis: 'T-50',
        held: true,
      },
      {
        name: 'next-stop',
        urgency: 'next-stop',
        raise: 'at 12 kPa of fall, on 3 readings',
        clear: 'below 4 kPa for 10 min',
        basis: 'simulation: 10 kPa/min is found in about 2 min',
        held: true,
      },
      {
        name: 'plan',
        urgency: 'plan',
        raise: '5 kPa a day over at least 3 cold starts',
        clear: 'below 2.5 kPa a day',
        basis: 'T-45',
        held: false,
      },
    ],
    plots: [
      {
        title: 'Cold-equivalent pressure against its limits',
        fromS,
        toS,
        axes: [{ unit: 'kPa', label: 'cold-equivalent pressure' }],
        lines: [
          line('left outer, cold-equivalent', 'judged', cold, 1),
          line('left inner', 'mate', () => 756, 2),
          line('right outer', 'mate', () => 752, 3),
          line('right inner', 'mate', (s) => 748 + (s > 4000 ? 4 : 0), 4),
        ],
        limits: [
          { label: 'target 110 psi', kind: 'target', urgency: null, axis: 0, value: 758 },
          { label: 'plan: raise at 99 psi', kind: 'raise', urgency: 'plan', axis: 0, value: 682 },
          { label: 'plan: clear at 102 psi', kind: 'clear', urgency: 'plan', axis: 0, value: 705 },
          { label: 'next stop: raise at 88 psi', kind: 'raise', urgency: 'next-stop', axis: 0, value: 606 },
          { label: 'next stop: clear at 92 psi', kind: 'clear', urgency: 'next-stop', axis: 0, value: 637 },
        ],
        spans: [
          { kind: 'gap', fromS: 2700, toS: 3020, label: 'nothing heard for 5 min' },
          { kind: 'raising', fromS: 3900, toS: 3960, label: 'had to hold for 60 s' },
          { kind: 'open', fromS: 3960, toS, label: 'alert open' },
          { kind: 'unsure', fromS: 5100, toS: 5280, label: 'data too old to tell' },
          { kind: 'muted', fromS: 4000, toS: 5100, label: 'duals-unequal not told: tire-losing-air' },
        ],
        marks: [
          { s: 3960, change: 'raised', urgency: 'next-stop', label: 'raised: next stop' },
          { s: 4200, change: 'taken', urgency: 'next-stop', label: 'taken' },
          { s: 4830, change: 'worse', urgency: 'pull-over', label: 'worse: pull over' },
        ],
      },
      {
        title: 'Pressure as it was sent, and temperature',
        fromS,
        toS,
        axes: [
          { unit: 'kPa', label: 'pressure' },
          { unit: '°C', label: 'temperature' },
        ],
        lines: [
          line('left outer, as sent', 'raw', (s) => cold(s) + 40 * Math.min(1, (s - 2000) / 1500), 5),
          {
            ...line('left outer, temperature', 'context', (s) => 12 + 30 * Math.min(1, (s - 2000) / 1500), 6),
            axis: 1,
          },
        ],
        limits: [],
        spans: [{ kind: 'gap', fromS: 2700, toS: 3020, label: 'nothing heard for 5 min' }],
        marks: [],
      },
      {
        title: 'Speed',
        fromS,
        toS,
        axes: [{ unit: 'km/h', label: 'speed' }],
        lines: [
          wave({
            label: 'speed',
            role: 'context',
            fromS,
            toS: 5040,
            stepS: 10,
            value: (s) => 88 + 4 * Math.sin(s / 200),
            spread: 5,
          }),
        ],
        limits: [],
        spans: [],
        marks: [],
      },
    ],
    hints: [
      { points: 'real', words: ['It fell in many small steps, as air does; a sensor that fails jumps.'] },
      {
        points: 'sensor',
        words: [
          'One stretch of ',
          { atS: 2700 },
          ' to ',
          { atS: 3020 },
          ' is missing while its neighbours were heard.',
        ],
      },
      { points: 'unclear', words: ['Its temperature is within 2 °C of the others.'] },
    ],
    advice:
      'Stop as soon as it is safe. Do not drive on a tire that loses air this fast; look at it from the side, not from the front.',
    checks: CHECKS,
    sensorOrReal: SENSOR_OR_REAL,
  };
}

/** States of a brake, application by application. */
export function overStroke(): AlertStory {
  const [fromS, toS] = [2900, 4200];
  const spans = Array.from({ length: 26 }, (_, i): Plot['spans'][number] => ({
    kind: 'application',
    fromS: fromS + i * 48 + 10,
    toS: fromS + i * 48 + 14 + 6 * noise(7, i),
    label: 'brakes applied',
  }));
  return {
    ...losingAir(),
    id: 'T-1042.k3v9.2',
    rule: 'brake-overstroke',
    subject: 'trailer/1/right',
    place: 'trailer axle 1 right',
    what: 'pushrod stroke too long',
    worst: 'next-stop',
    fromS: 3010,
    toS: 6500,
    end: 'cleared: measured good for the last 3 applications',
    changes: [
      { s: 3010, change: 'raised', urgency: 'plan', words: 'over-stroke, 1 of 3 applications', who: null, note: null },
      {
        s: 3070,
        change: 'worse',
        urgency: 'next-stop',
        words: 'over-stroke, 2 of 3 applications',
        who: null,
        note: null,
      },
      { s: 6500, change: 'cleared', urgency: 'next-stop', words: 'none of the last 3', who: null, note: null },
    ],
    saw: [['Of 24 qualifying applications 22 ended in over-stroke, the first at ', { atS: 2990 }, '.']],
    judged: [
      {
        name: 'next-stop',
        urgency: 'next-stop',
        raise: 'over-stroke in 2 of the last 3 qualifying applications',
        clear: 'in none of the last 3',
        basis: '49 CFR 396 Appendix A, 1.a.(5)',
        held: true,
      },
      {
        name: 'plan',
        urgency: 'plan',
        raise: 'in 1 of the last 3',
        clear: 'in none of the last 3',
        basis: 'common practice',
        held: true,
      },
    ],
    plots: [
      {
        title: 'What the stroke sensor said',
        fromS,
        toS,
        axes: [
          { unit: 'state', label: 'stroke state' },
          { unit: 'kPa', label: 'application pressure' },
        ],
        lines: [
          wave({
            label: 'stroke state',
            role: 'judged',
            fromS,
            toS,
            stepS: 4,
            value: (s) => (s > 2990 && (s - fromS) % 48 > 8 && (s - fromS) % 48 < 22 ? 2 : 0),
            gapS: 12,
          }),
          wave({
            label: 'application pressure',
            role: 'context',
            axis: 1,
            fromS,
            toS,
            stepS: 4,
            value: (s) => ((s - fromS) % 48 > 8 && (s - fromS) % 48 < 20 ? 240 : 0),
            gapS: 12,
          }),
        ],
        limits: [],
        spans: [...spans, { kind: 'open', fromS: 3010, toS, label: 'alert open' }],
        marks: [
          { s: 3010, change: 'raised', urgency: 'plan', label: 'raised: plan' },
          { s: 3070, change: 'worse', urgency: 'next-stop', label: 'worse: next stop' },
        ],
      },
    ],
    hints: [
      {
        points: 'real',
        words: ['The same wheel end says so in hard applications and not in light ones, as a long stroke does.'],
      },
    ],
    advice: 'Have the stroke measured with a ruler at 90 to 100 psi before driving on.',
  };
}

/** Air that goes while driving, on two axes, with the compressor at work. */
export function airLow(): AlertStory {
  const [fromS, toS] = [8700, 9900];
  const air = (s: number): number =>
    s < 9000 ? 830 : s < 9300 ? 830 - (s - 9000) * 1.5 : s < 9450 ? 380 : Math.min(840, 380 + (s - 9450) * 1.6);
  return {
    ...losingAir(),
    id: 'T-1042.k3v9.3',
    rule: 'air-low',
    subject: 'air/service',
    place: 'service air',
    what: 'service air pressure low',
    worst: 'pull-over',
    fromS: 9280,
    toS: 9490,
    end: 'cleared: measured good for 10 s',
    changes: [
      {
        s: 9280,
        change: 'raised',
        urgency: 'pull-over',
        words: 'primary circuit 60 psi (limit 60 psi)',
        who: null,
        note: null,
      },
      { s: 9490, change: 'cleared', urgency: 'pull-over', words: 'primary circuit 65 psi', who: null, note: null },
    ],
    saw: [['Both circuits sank together by 13 psi a minute from ', { atS: 9000 }, ' on.']],
    judged: [
      {
        name: 'pull-over',
        urgency: 'pull-over',
        raise: 'at or below 414 kPa for 2 s',
        clear: 'at or above 448 kPa for 10 s',
        basis: '49 CFR 571.121 S5.1.5',
        held: true,
      },
    ],
    plots: [
      {
        title: 'Service circuits and engine',
        fromS,
        toS,
        axes: [
          { unit: 'kPa', label: 'pressure' },
          { unit: 'rpm', label: 'engine speed' },
        ],
        lines: [
          wave({ label: 'primary', role: 'judged', fromS, toS, stepS: 2, value: air }),
          wave({ label: 'secondary', role: 'judged', fromS, toS, stepS: 2, value: (s) => air(s) + 8 }),
          wave({
            label: 'engine speed',
            role: 'context',
            axis: 1,
            fromS,
            toS,
            stepS: 4,
            value: (s) => (s < 9300 ? 1350 : 700) + 40 * noise(9, s),
          }),
        ],
        limits: [
          { label: 'pull over: raise at 60 psi', kind: 'raise', urgency: 'pull-over', axis: 0, value: 414 },
          { label: 'pull over: clear at 65 psi', kind: 'clear', urgency: 'pull-over', axis: 0, value: 448 },
        ],
        spans: [
          { kind: 'pumping', fromS: 9010, toS: 9740, label: 'compressor pumping' },
          { kind: 'open', fromS: 9280, toS: 9490, label: 'alert open' },
          { kind: 'clearing', fromS: 9480, toS: 9490, label: 'had to be good for 10 s' },
          { kind: 'leak-test', fromS: 9320, toS: 9440, label: 'leak test: too fast' },
        ],
        marks: [
          { s: 9280, change: 'raised', urgency: 'pull-over', label: 'raised: pull over' },
          { s: 9490, change: 'cleared', urgency: 'pull-over', label: 'cleared' },
        ],
      },
    ],
    advice: 'Stop as soon as it is safe: the spring brakes may come on by themselves.',
  };
}

/** Explained by the one before. */
export function airUnequal(): AlertStory {
  return {
    ...airLow(),
    id: 'T-1042.k3v9.4',
    cause: 'T-1042.k3v9.3',
    rule: 'circuits-unequal',
    subject: 'air/circuits',
    place: 'primary and secondary circuits',
    what: 'brake circuits unequal',
    worst: 'next-stop',
    fromS: 9350,
    toS: 9600,
    changes: [
      { s: 9350, change: 'raised', urgency: 'next-stop', words: 'they differ by 16 psi', who: null, note: null },
    ],
    hints: [],
  };
}

/** Without a plot, without an end, with a name that does not fit. */
export function sensorSilent(): AlertStory {
  return {
    ...losingAir(),
    id: 'T-1042.k3v9.5',
    rule: 'tire-sensor-silent',
    subject: 'tractor/3/right/inner',
    place: 'tractor axle 3 right inner, beside the auxiliary fuel tank of the second combination',
    what: 'tire sensor is silent',
    kind: 'system',
    worst: 'plan',
    fromS: 7100,
    toS: null,
    end: 'still open',
    changes: [{ s: 7100, change: 'raised', urgency: 'plan', words: 'silent for 9 min', who: null, note: null }],
    saw: [['It was last heard at ', { atS: 5650 }, '.']],
    plots: [],
    hints: [],
    sensorOrReal: [],
  };
}

const RULES = ['tire-underinflated', 'tire-hot', 'brake-dragging', 'air-low'] as const;
const URGENCIES = ['plan', 'next-stop', 'pull-over'] as const;

/** So many alerts that it hurts, each with three plots of six lines. */
export function manyAlerts(count: number, lengthS: number): AlertStory[] {
  const like = losingAir();
  return Array.from({ length: count }, (_, n) => {
    const fromS = Math.round((lengthS - 1900) * noise(11, n));
    const lines = (seed: number): Line[] =>
      Array.from({ length: 6 }, (_, i) =>
        wave({
          label: `tire ${i + 1}`,
          role: i === 0 ? 'judged' : 'mate',
          fromS,
          toS: fromS + 1800,
          stepS: 1800 / 380,
          value: (s) => 700 + 40 * Math.sin(s / 200 + i) + 8 * noise(seed + i, s),
          gapS: 60,
        }),
      );
    return {
      ...like,
      id: `T-1042.k3v9.${100 + n}`,
      rule: RULES[n % RULES.length]!,
      worst: URGENCIES[n % 3]!,
      place: `axle ${1 + (n % 5)} left ${n}`,
      fromS: fromS + 600,
      toS: fromS + 1500,
      plots: like.plots.map((plot, i) => ({
        ...plot,
        axes: [plot.axes[0]!],
        fromS,
        toS: fromS + 1800,
        lines: lines(n * 10 + i),
        spans: [],
        marks: [],
      })),
    };
  });
}
