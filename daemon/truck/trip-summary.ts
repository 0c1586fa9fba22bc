import { URGENCIES, type Urgency } from '../../config/resolved.js';
import type { EventDraft } from '../alerts/event.js';
import { roundedTo } from '../alerts/rounding.js';
import { type StreamMs, TICK_MS } from '../time.js';
import type { TruckRecord } from './records.js';
import { isFresh } from './samples.js';
import { isBrakeHeard, type TripFacts, type TripSight } from './trip-sight.js';

/** What happened on a trip, as far as it got. Values and durations only; what was not seen is null. */
export interface TripSummary {
  /** From its start to its end. */
  durationS: number;
  movingS: number;
  engineS: number;
  /** Where the distance comes from: the odometer, or speed added up where no odometer was heard. */
  distanceFrom: 'odometer' | 'speed' | null;
  applications: ApplicationsSummary;
  hottestTire: { subject: string; celsius: number } | null;
  /** Lowest pressure of each service circuit while moving. */
  lowestAir: { primaryKpa: number | null; secondaryKpa: number | null };
  /** Share of engine-running time spent pumping: as the compressor says itself, else by its cycles. */
  compressor: { share: number; from: 'signal' | 'cycles' } | null;
  /** Alerts raised in it, by the worst urgency that they reached in it. */
  raised: Record<Urgency, number>;
  /**
   * Sensors that were expected to tell something and did not, for a minute or longer, longest first: tires while moving, brakes
   * and air while the engine ran, each only while the bus was heard.
   */
  silent: { subject: string; seconds: number }[];
}

export interface ApplicationsSummary {
  count: number;
  qualifying: number;
  /** Greatest pressure of all applications; null where none was known. */
  hardestKpa: number | null;
}

/** Shorter silence is lost frames. */
const LEAST_SILENT_MS = 60_000;
/** Alerts of one trip whose urgency is kept. */
const MOST_ALERTS = 500;

export interface SummaryState {
  movingMs: number;
  engineMs: number;
  /** Speed added up, m, and for how long it was known. */
  metres: number;
  speedMs: number;
  compressorMs: number;
  pumpingMs: number;
  cycles: number;
  cyclesMs: number;
  applications: number;
  qualifying: number;
  /** kPa; -1: none. */
  hardestKpa: number;
  primaryKpa: number;
  secondaryKpa: number;
  hottest: TripSummary['hottestTire'];
  /** By alert: index of the worst urgency that it reached. */
  worst: Record<string, number>;
  /** By subject. */
  silentMs: Record<string, number>;
}

export const newSummary = (): SummaryState => ({
  movingMs: 0,
  engineMs: 0,
  metres: 0,
  speedMs: 0,
  compressorMs: 0,
  pumpingMs: 0,
  cycles: 0,
  cyclesMs: 0,
  applications: 0,
  qualifying: 0,
  hardestKpa: -1,
  primaryKpa: -1,
  secondaryKpa: -1,
  hottest: null,
  worst: {},
  silentMs: {},
});

/** Adds up what happens while a trip lasts. */
export class TripSums {
  readonly #holder: { summary: SummaryState };
  readonly #sight: TripSight;

  constructor(holder: { summary: SummaryState }, sight: TripSight) {
    this.#holder = holder;
    this.#sight = sight;
  }

  begin(): void {
    this.#holder.summary = newSummary();
  }

  record(record: TruckRecord): void {
    const s = this.#holder.summary;
    if (record.kind === 'air-cycle') {
      s.cycles++;
      s.cyclesMs += record.values.pumpingS * 1000;
    } else if (record.kind === 'brake-application') {
      s.applications++;
      if (record.values.qualifying) s.qualifying++;
      s.hardestKpa = Math.max(s.hardestKpa, record.values.peakKpa ?? -1);
    }
  }

  /** An alert that was raised in this trip. */
  event({ alert, change, urgency }: EventDraft): void {
    const { worst } = this.#holder.summary;
    if (change !== 'raised' && change !== 'worse' && change !== 'reopened') return;
    const known = worst[alert];
    if (known === undefined && Object.keys(worst).length >= MOST_ALERTS) return;
    worst[alert] = Math.max(known ?? 0, URGENCIES.indexOf(urgency));
  }

  /** While the bus is silent nobody knows that it moves or that its engine runs, and no sensor is missed: that is the gap. */
  tick(t: StreamMs, facts: TripFacts): void {
    const s = this.#holder.summary;
    if (facts.moving) s.movingMs += TICK_MS;
    if (facts.engineRunning) s.engineMs += TICK_MS;
    this.#road(t);
    this.#compressor(t, facts);
    this.#tires(t, facts.moving);
    this.#brakes(t, facts.engineRunning);
    this.#air(t, facts);
  }

  /** Metres by speed; null where none was heard. */
  get metres(): number | null {
    const { metres, speedMs } = this.#holder.summary;
    return speedMs > 0 ? metres : null;
  }

  summary(durationMs: number, distanceFrom: TripSummary['distanceFrom']): TripSummary {
    const s = this.#holder.summary;
    const silent = Object.entries(s.silentMs).filter(([, ms]) => ms >= LEAST_SILENT_MS);
    silent.sort(([a, x], [b, y]) => y - x || (a < b ? -1 : 1));
    return {
      durationS: Math.round(durationMs / 1000),
      movingS: s.movingMs / 1000,
      engineS: s.engineMs / 1000,
      distanceFrom,
      applications: { count: s.applications, qualifying: s.qualifying, hardestKpa: orNull(s.hardestKpa) },
      hottestTire: s.hottest === null ? null : { ...s.hottest },
      lowestAir: { primaryKpa: orNull(s.primaryKpa), secondaryKpa: orNull(s.secondaryKpa) },
      compressor: compressorOf(s),
      raised: raisedOf(s),
      silent: silent.map(([subject, ms]) => ({ subject, seconds: ms / 1000 })),
    };
  }

  #road(t: StreamMs): void {
    const s = this.#holder.summary;
    const kmh = this.#sight.context.speed(t);
    if (Number.isNaN(kmh)) return;
    s.metres += (kmh / 3.6) * (TICK_MS / 1000);
    s.speedMs += TICK_MS;
  }

  #compressor(t: StreamMs, { engineRunning }: TripFacts): void {
    const { compressor } = this.#sight.context.state;
    if (!engineRunning || !isFresh(compressor, t)) return;
    const s = this.#holder.summary;
    s.compressorMs += TICK_MS;
    if (compressor.value === 1) s.pumpingMs += TICK_MS;
  }

  #tires(t: StreamMs, moving: boolean): void {
    const { tires, layout } = this.#sight;
    const s = this.#holder.summary;
    for (const [i, { subject }] of layout.tires.entries()) {
      if (tires.isMarked(i)) continue;
      if (moving && !tires.isFresh(i, t)) this.#silent(subject);
      const celsius = roundedTo('°C', tires.temperature(i, t));
      if (celsius !== null && celsius > (s.hottest?.celsius ?? Number.NEGATIVE_INFINITY))
        s.hottest = { subject, celsius };
    }
  }

  /** Wheel ends that have ever told something. */
  #brakes(t: StreamMs, engineRunning: boolean): void {
    if (!engineRunning) return;
    for (const [subject, seen] of Object.entries(this.#sight.wheelEnds)) {
      const hasTold = seen.source >= 0 || seen.restMm >= 0;
      if (hasTold && !isBrakeHeard(seen, t) && !this.#sight.marks.isMarked(subject)) this.#silent(subject);
    }
  }

  #air(t: StreamMs, { moving, engineRunning }: TripFacts): void {
    const s = this.#holder.summary;
    // The starter takes the voltage that the sensors need.
    const isTrue = moving && !this.#sight.context.cranking(t);
    for (const { subject, kpa } of this.#sight.circuits(t)) {
      if (kpa === null) {
        if (engineRunning) this.#silent(subject);
        continue;
      }
      const key = subject === 'air/primary' ? 'primaryKpa' : 'secondaryKpa';
      if (isTrue && (s[key] < 0 || kpa < s[key])) s[key] = kpa;
    }
  }

  #silent(subject: string): void {
    const { silentMs } = this.#holder.summary;
    silentMs[subject] = (silentMs[subject] ?? 0) + TICK_MS;
  }
}

const orNull = (value: number): number | null => (value < 0 ? null : value);

function compressorOf(s: SummaryState): TripSummary['compressor'] {
  const share = (part: number, of: number): number => roundedTo('share', Math.min(1, part / of)) ?? 0;
  if (s.compressorMs > 0) return { share: share(s.pumpingMs, s.compressorMs), from: 'signal' };
  return s.cycles > 0 && s.engineMs > 0 ? { share: share(s.cyclesMs, s.engineMs), from: 'cycles' } : null;
}

function raisedOf({ worst }: SummaryState): TripSummary['raised'] {
  const raised = { plan: 0, 'next-stop': 0, 'pull-over': 0 };
  for (const index of Object.values(worst)) raised[URGENCIES[index]!]++;
  return raised;
}
