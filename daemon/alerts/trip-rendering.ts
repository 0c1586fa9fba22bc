import type { TripSummary } from '../truck/trip-summary.js';
import type { StartCheckMessage, TripMessage } from './message.js';
import type { NumberedCheck, NumberedTrip } from './numbered.js';
import { decidedBy, notJudgedMessage, type RenderContext, stamp } from './rendering.js';
import { roundedTo } from './rounding.js';

/** The public summary of a trip; wall stamps from the best known zero of the run that stored it. */
export function tripMessage(trip: NumberedTrip, context: Pick<RenderContext, 'config' | 'replay'>): TripMessage {
  const { record, run } = trip;
  const s: Partial<TripSummary> = record.summary ?? {};
  return {
    v: 1,
    ...(context.replay === true && { replay: true as const }),
    kind: 'summary',
    store: trip.store,
    boot: trip.boot,
    trip: record.trip,
    ...decidedBy(trip.by, context.config),
    synced: run.synced,
    start: stamp(run, record.startAt),
    end: stamp(run, record.endAt),
    ...known({ durationS: s.durationS, movingS: s.movingS, engineS: s.engineS }),
    distanceKm: record.distanceKm === null ? null : roundedTo('km', record.distanceKm),
    ...known({
      distanceFrom: s.distanceFrom,
      applications: s.applications,
      hottestTire: s.hottestTire,
      lowestAir: s.lowestAir,
      compressor: s.compressor,
    }),
    alerts: record.alerts,
    ...known({ raised: s.raised }),
    gapS: roundedTo('s', record.gapS) ?? 0,
    ...known({ silent: s.silent }),
    notJudged: record.notJudged.map(notJudgedMessage),
  };
}

/** The public start check, its values in the order of docs/topics.md. */
export function startCheckMessage(
  check: NumberedCheck,
  context: Pick<RenderContext, 'config' | 'replay'>,
): StartCheckMessage {
  const { record, run } = check;
  const { trip, why, stoodS, tires, brakes, air } = record.values;
  return {
    v: 1,
    ...(context.replay === true && { replay: true as const }),
    kind: 'start-check',
    store: check.store,
    boot: check.boot,
    trip,
    ...decidedBy(check.by, context.config),
    synced: run.synced,
    start: stamp(run, record.startAt),
    at: stamp(run, record.endAt),
    why,
    stoodS,
    tires: mapped(tires, (x) => [x.kpa, x.coldKpa, x.targetKpa, x.share, x.ageS, x.sure]),
    brakes: {
      applications: brakes.applications,
      wheels: mapped(brakes.wheels, (x) => [x.applied, x.released, x.strokeMm, x.restMm]),
    },
    air,
  };
}

/** Without the keys that are not known. */
function known<T extends object>(values: T): { [K in keyof T]?: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(values).filter(([, value]) => value !== undefined)) as {
    [K in keyof T]?: Exclude<T[K], undefined>;
  };
}

function mapped<From, To>(values: Record<string, From>, to: (value: From) => To): Record<string, To> {
  return Object.fromEntries(Object.entries(values).map(([key, value]) => [key, to(value)]));
}
