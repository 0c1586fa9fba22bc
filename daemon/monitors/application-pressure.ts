import type { StreamMs } from '../time.js';
import { isFresh, type Sample } from '../truck/samples.js';

export interface PressureSamples {
  /** SPN 116, SPN 8484, highest of SPN 1091–1098; kPa. */
  application: Sample;
  demanded: Sample;
  chamber: Sample;
}

/** What tells how hard the brakes are pressed now: the first of them that is fresh. */
export function pressureSample({ application, demanded, chamber }: PressureSamples, t: StreamMs): Sample | undefined {
  if (isFresh(application, t)) return application;
  if (isFresh(demanded, t)) return demanded;
  return isFresh(chamber, t) ? chamber : undefined;
}
