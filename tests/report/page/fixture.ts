import type { ReportData } from '../../../report/data.js';
import { airLow, airUnequal, losingAir, manyAlerts, overStroke, sensorSilent } from './support/alerts.js';
import { madeUpAir, madeUpBrakes, madeUpTires } from './support/sections.js';
import { noise, wave } from './support/waves.js';

/* Made-up reports: nothing in them was measured, and no daemon made them. */

export const LENGTH_S = 10_860;
/** 2 March 2026, 13:00 UTC. */
export const FROM_MS = Date.UTC(2026, 2, 2, 13, 0, 0);

/** A shift with something of everything. */
export function madeUpReport(): ReportData {
  const alerts = [losingAir(), overStroke(), airLow(), airUnequal(), sensorSilent()];
  return {
    v: 1,
    fromMs: FROM_MS,
    lengthS: LENGTH_S,
    about: {
      fleet: 'northline',
      truck: 'T-1042',
      trailer: 'TR-77',
      sources: ['morning-run.log.gz'],
      frames: { all: 345_981, interesting: 201_337 },
      version: '0.1.0',
      configs: ['1f0c77ab'],
      synced: true,
      show: { pressure: 'psi', temperature: '°F' },
      fine: true,
    },
    glance: {
      speed: wave({
        label: 'speed',
        role: 'context',
        fromS: 420,
        toS: 10_800,
        stepS: 20,
        value: (s) => speedAt(s),
        spread: 8,
        gapS: 60,
        holes: [[5400, 6300]],
      }),
      trips: [
        { fromS: 0, toS: 5400, label: 'trip 1' },
        { fromS: 6300, toS: LENGTH_S, label: 'trip 2' },
      ],
      alerts: alerts.map(({ id, rule, place, fromS, toS, changes }) => ({
        id,
        rule,
        place,
        fromS,
        toS,
        steps: changes
          .filter(({ change }) => ['raised', 'worse', 'better'].includes(change))
          .map(({ s, urgency }) => ({ s, urgency })),
      })),
      life: [
        { fromS: 5400, toS: 5460, state: 'parked' },
        { fromS: 5460, toS: 6300, state: 'asleep' },
      ],
    },
    alerts,
    alertsLeftOut: 0,
    tires: madeUpTires(),
    brakes: madeUpBrakes(),
    air: madeUpAir(),
    trips: [trip(1, 0, 5400), trip(2, 6300, LENGTH_S)],
    gaps: [{ fromS: 5400, toS: 6300, what: 'key off' }],
    muted: [
      {
        fromS: 4000,
        toS: 5100,
        rule: 'duals-unequal',
        subject: 'tractor/2/left/pair',
        place: 'tractor axle 2 left, pair',
        urgency: 'plan',
        why: 'the outer tire was losing air, which says it already',
      },
    ],
    notJudged: [
      {
        subject: 'trailer/2/right/inner',
        place: 'trailer axle 2 right inner',
        who: 'workshop',
        untilMs: FROM_MS + 72 * 3_600_000,
      },
    ],
    notes: ['3 lines of morning-run.log.gz could not be read and were skipped.'],
  };
}

/** Nothing was heard and nothing was found. */
export function emptyReport(): ReportData {
  const full = madeUpReport();
  return {
    ...full,
    lengthS: 0,
    about: { ...full.about, trailer: null, frames: null, configs: [], synced: false, fine: false, sources: [] },
    glance: { speed: null, trips: [], alerts: [], life: [] },
    alerts: [],
    tires: null,
    brakes: null,
    air: null,
    trips: [],
    gaps: [],
    muted: [],
    notJudged: [],
    notes: [],
  };
}

/** One of each kind of thing, for what takes its time with each element. */
export function shortReport(): ReportData {
  const { tires, brakes, ...full } = madeUpReport();
  return {
    ...full,
    alerts: [full.alerts[0]!, full.alerts[2]!, full.alerts[3]!],
    tires: tires && { axles: tires.axles.slice(0, 1), table: tires.table.slice(0, 2) },
    brakes: brakes && { ...brakes, wheels: brakes.wheels.slice(3, 6) },
  };
}

/** Sixty alerts with three full plots each: some 4 MB. */
export function largeReport(): ReportData {
  const full = madeUpReport();
  const alerts = manyAlerts(60, LENGTH_S);
  return {
    ...full,
    alerts,
    alertsLeftOut: 12,
    glance: {
      ...full.glance,
      alerts: alerts.map(({ id, rule, place, fromS, toS, worst }) => ({
        id,
        rule,
        place,
        fromS,
        toS,
        steps: [{ s: fromS, urgency: worst }],
      })),
    },
  };
}

function speedAt(s: number): number {
  if (s < 960) return 8 + 6 * noise(3, Math.floor(s / 60));
  const isTown = (s > 960 && s < 2040) || (s > 2880 && s < 3600) || s > 10_000;
  return isTown ? 45 * Math.abs(Math.sin(s / 90)) : 88 + 4 * Math.sin(s / 300);
}

function trip(number: number, fromS: number, toS: number): ReportData['trips'][number] {
  return {
    trip: number,
    fromS,
    toS,
    provisional: number === 2,
    distanceKm: number === 1 ? 74.3 : 61.9,
    movingS: (toS - fromS) * 0.7,
    applications: 96,
    hardestKpa: 402,
    hottest: { place: 'trailer axle 2 left outer', celsius: 104 },
    lowestAirKpa: number === 1 ? 676 : 380,
    compressorShare: 0.12,
    alerts: number === 1 ? 2 : 3,
    gapS: 0,
  };
}
