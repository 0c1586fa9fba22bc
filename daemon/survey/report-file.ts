import type { TruckConfig } from '../../config/resolved.js';
import type { Layout } from '../truck/layout.js';
import type { TireHeard } from './judgeable.js';
import type { BrakeReport, LocationReport, TruckFileReport } from './report.js';
import { hasState } from './strokes-seen.js';
import type { Survey } from './survey.js';
import { hasPressure } from './tires-seen.js';

/** What a truck file expects and this bus has not, and the other way round. */
export function truckFileReport(
  survey: Survey,
  config: TruckConfig,
  layout: Layout,
  heard: readonly TireHeard[],
  locations: readonly LocationReport[],
  brakes: readonly BrakeReport[],
): TruckFileReport {
  const byExtra = (subject: string, quantity: string): boolean =>
    survey.extras.some(
      ({ signal, values }) => signal.subject === subject && signal.quantity === quantity && values.good > 0,
    );
  const axles = config.units.flatMap(({ unit, axles }) => axles.map((axle, i) => ({ axle, name: `${unit}/${i + 1}` })));
  const telling = [...config.tirePositions, ...config.fixedGaugeSources];
  const named = [...new Set(telling.map(({ bus, source }) => `${bus}/${source}`))];
  const sent = new Set(locations.map(({ bus, sa }) => `${bus}/${sa}`));
  return {
    buses: survey.buses.filter(({ frames, errorFrames }) => frames + errorFrames === 0).map(({ name }) => name),
    tiresUnheard: heard
      .filter(({ subject, seen }) => seen.every(({ frames }) => frames === 0) && !byExtra(subject, 'pressure'))
      .map(({ subject }) => subject),
    tiresWithoutPressure: heard
      .filter(
        ({ subject, seen }) =>
          seen.some(({ frames }) => frames > 0) && !seen.some(hasPressure) && !byExtra(subject, 'pressure'),
      )
      .map(({ subject }) => subject),
    brakesUnheard: layout.wheelEnds
      .filter(({ bsaField, subject }) => {
        const told = survey.strokes.list().some((seen) => bsaField >= 0 && hasState(seen, bsaField));
        return !told && !byExtra(subject, 'stroke');
      })
      .map(({ subject }) => subject),
    signalsUnheard: survey.extras
      .filter(({ values }) => values.good === 0)
      .map(({ signal }) => `${signal.quantity} of ${signal.subject}`),
    sendersUnheard: named.filter((sender) => !sent.has(sender)),
    strangeLocations: locations
      .filter(({ subject, frames }) => subject === null && frames > 0)
      .map(({ bus, sa, location, frames }) => ({ bus, sa, location, frames })),
    strangeBrakes: brakes.filter(({ subject }) => subject === null).map(({ bus, sa, place }) => ({ bus, sa, place })),
    axlesWithoutColdPressure: axles.filter(({ axle }) => axle.coldPressureKpa === null).map(({ name }) => name),
    axlesWithoutChamber: axles.filter(({ axle }) => axle.chamber === null).map(({ name }) => name),
  };
}
