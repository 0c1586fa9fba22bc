import type { AirSection, BrakeSection, Line, Plot, TireSection } from '../../../../report/data.js';
import { noise, wave } from './waves.js';

const LENGTH_S = 10_860;
const HOLES: [number, number][] = [[5400, 6300]];

const AXLES: [place: string, tires: string[]][] = [
  ['tractor axle 1', ['left', 'right']],
  ['tractor axle 2', ['left outer', 'left inner', 'right inner', 'right outer']],
  ['tractor axle 3', ['left outer', 'left inner', 'right inner', 'right outer']],
  ['trailer axle 1', ['left outer', 'left inner', 'right inner', 'right outer']],
  ['trailer axle 2', ['left outer', 'left inner', 'right inner', 'right outer']],
];

const plotOf = (
  title: string,
  unit: 'kPa' | '°C',
  label: string,
  lines: Line[],
  limits: Plot['limits'] = [],
): Plot => ({
  title,
  fromS: 0,
  toS: LENGTH_S,
  axes: [{ unit, label }],
  lines,
  limits,
  spans: [{ kind: 'gap', fromS: 5400, toS: 6300, label: 'key off' }],
  marks: [],
});

export function madeUpTires(): TireSection {
  return {
    axles: AXLES.map(([place, tires], axle) => ({
      place,
      pressures: plotOf(
        `Cold-equivalent pressures, ${place}`,
        'kPa',
        'cold-equivalent pressure',
        tires.map((label, i) =>
          wave({
            label,
            role: 'mate',
            fromS: 0,
            toS: LENGTH_S,
            stepS: 60,
            value: (s) => 745 + 6 * i + 4 * Math.sin(s / 900 + axle),
            spread: 5,
            gapS: 150,
            holes: HOLES,
          }),
        ),
        [{ label: 'target 110 psi', kind: 'target', urgency: null, axis: 0, value: 758 }],
      ),
      temperatures:
        axle === 4
          ? null
          : plotOf(
              `Temperatures, ${place}`,
              '°C',
              'temperature',
              tires.map((label, i) =>
                wave({
                  label,
                  role: 'mate',
                  fromS: 0,
                  toS: LENGTH_S,
                  stepS: 60,
                  value: (s) => -4 + 45 * (1 - Math.exp(-s / 3000)) + 2 * i,
                  gapS: 150,
                  holes: HOLES,
                }),
              ),
            ),
    })),
    table: AXLES.flatMap(([place, tires], axle) =>
      tires.map((tire, i) => ({
        subject: `${place}/${tire}`,
        place: `${place} ${tire}`,
        targetKpa: 758,
        firstKpa: axle === 1 && i === 0 ? 758 : 750,
        lastKpa: axle === 4 && i === 3 ? null : 748,
        hottestC: 40 + 3 * i,
        readings: 1180,
        silentS: axle === 2 && i === 2 ? 3900 : 0,
      })),
    ),
  };
}

const COUNT = 190;

export function madeUpBrakes(): BrakeSection {
  const rows = Array.from({ length: COUNT }, (_, i) => i);
  const peak = (i: number): number => Math.round((60 + 600 * noise(21, i) ** 2.2) / 4) * 4;
  const places = ['tractor axle 1', 'tractor axle 2', 'trailer axle 1'].flatMap((axle) => [
    `${axle} left`,
    `${axle} right`,
  ]);
  const wheel = (place: string, n: number): BrakeSection['wheels'][number] => ({
    subject: place.replaceAll(' ', '/'),
    place,
    chamber: n === 1 ? null : n < 2 ? '20' : '30',
    limitMm: n < 2 ? 44.5 : 50.8,
    limitBasis: '49 CFR 393.47(e)',
    strokeMm: rows.map((i) =>
      n > 3 ? null : Math.round((14 + peak(i) * (n === 2 ? 0.06 : 0.045) + 3 * noise(n, i)) * 10) / 10,
    ),
    code: rows.map((i) =>
      n === 3 ? null : n === 5 && i > 40 ? (peak(i) > 140 ? 2 : 0) : n === 4 && i % 50 === 49 ? 1 : 0,
    ),
    alerts: n === 5 ? ['T-1042.k3v9.2'] : [],
  });
  return {
    applications: {
      s: rows.map((i) => 420 + i * 54),
      durationS: rows.map((i) => 1 + Math.round(60 * noise(22, i)) / 10),
      peakKpa: rows.map(peak),
      meanKpa: rows.map((i) => peak(i) * 0.8),
      startKmh: rows.map((i) => 80 * noise(23, i)),
      endKmh: rows.map((i) => 50 * noise(23, i)),
      airUsedKpa: rows.map((i) => (i % 9 === 0 ? null : 4)),
      qualifying: rows.map((i) => (peak(i) >= 140 ? 1 : 0)),
      from: rows.map(() => 'pressure'),
    },
    wheels: [
      ...places.map(wheel),
      {
        subject: 'trailer/2/left',
        place: 'trailer axle 2 left',
        chamber: '30',
        limitMm: 50.8,
        limitBasis: '49 CFR 393.47(e)',
        strokeMm: rows.map(() => null),
        code: rows.map(() => null),
        alerts: [],
      },
    ],
    band: { lowKpa: 550, highKpa: 690 },
    qualifyingKpa: 140,
    leftOut: 41,
  };
}

export function madeUpAir(): AirSection {
  const circuit = (label: string, shift: number): Line =>
    wave({
      label,
      role: 'judged',
      fromS: 0,
      toS: LENGTH_S,
      stepS: 30,
      value: (s) => 700 + shift + (160 * (s % 420)) / 420,
      spread: 12,
      gapS: 90,
      holes: HOLES,
    });
  const test = (s: number, kpaPerMin: number, state: 'released' | 'applied'): AirSection['tests'][number] => ({
    s,
    seconds: 240,
    state,
    circuit: 'primary',
    fallKpa: kpaPerMin * 4,
    kpaPerMin,
    limitKpaPerMin: state === 'released' ? 20.7 : 27.6,
    passed: kpaPerMin < 20,
    plot: {
      title: `Leak test, brakes ${state}`,
      fromS: s - 20,
      toS: s + 260,
      axes: [{ unit: 'kPa', label: 'pressure' }],
      lines: [
        wave({
          label: 'primary',
          role: 'judged',
          fromS: s,
          toS: s + 240,
          stepS: 1,
          value: (at) => Math.round((800 - ((at - s) * kpaPerMin) / 60) / 4) * 4,
          gapS: 5,
        }),
        {
          label: 'slope that was found',
          role: 'raw',
          axis: 0,
          s: [s, s + 240],
          v: [800, 800 - kpaPerMin * 4],
          gapS: 300,
        },
        { label: 'slope that is allowed', role: 'context', axis: 0, s: [s, s + 240], v: [800, 717], gapS: 300 },
      ],
      limits: [],
      spans: [{ kind: 'leak-test', fromS: s, toS: s + 240, label: 'leak test' }],
      marks: [],
    },
  });
  return {
    plot: {
      ...plotOf(
        'Circuits',
        'kPa',
        'pressure',
        [circuit('primary', 0), circuit('secondary', 12)],
        [{ label: 'pull over: raise at 60 psi', kind: 'raise', urgency: 'pull-over', axis: 0, value: 414 }],
      ),
      spans: [
        { kind: 'gap', fromS: 5400, toS: 6300, label: 'key off' },
        ...Array.from({ length: 20 }, (_, i): Plot['spans'][number] => ({
          kind: 'pumping',
          fromS: i * 500,
          toS: i * 500 + 90,
          label: 'compressor pumping',
        })),
        { kind: 'leak-test', fromS: 5100, toS: 5340, label: 'leak test' },
      ],
    },
    cycles: Array.from({ length: 22 }, (_, i) => ({
      s: i * 480,
      pumpingS: 88,
      cutInKpa: 690,
      cutOutKpa: i === 7 ? null : 862,
      revolutionsPer100Kpa: 940 + i,
    })),
    tests: [test(5100, 6.2, 'released'), test(9320, 44, 'applied')],
    leftOut: 2,
    cyclesLeftOut: 0,
    compressorShare: 0.17,
  };
}
