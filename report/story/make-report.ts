import type { ReportData } from '../data.js';
import type { Gathered } from '../gathered.js';
import { aboutOf, gapsOf, MOST_GAPS, mutedOf, notesOf, notJudgedOf, tripsOf } from './about.js';
import { airSection } from './air-section.js';
import { storyOf } from './alert-story.js';
import { alertsOf, worstFirst } from './alerts.js';
import { brakeSection } from './brake-section.js';
import { glanceOf, MOST_BARS } from './glance.js';
import { tireSection } from './tire-section.js';
import { lengthS, spanOf } from './window.js';
import { capital, counted } from './wording.js';

/** Nobody reads more, and a file that holds them all does not open on a phone. */
export const MOST_ALERTS = 60;

/**
 * What a technician is told of everything that was gathered. The same Gathered gives the same report.
 * @param options.version of the program that makes it
 */
export function makeReport(gathered: Gathered, options: { version: string }): ReportData {
  const { fromMs, toMs } = spanOf(gathered);
  const found = alertsOf(gathered);
  const told = worstFirst(found, MOST_ALERTS);
  const leftOut = found.length - told.length;
  return {
    v: 1,
    fromMs,
    lengthS: lengthS(toMs - fromMs),
    about: aboutOf(gathered, options.version),
    glance: glanceOf(gathered, found),
    alerts: told.map((alert) => storyOf(gathered, alert)),
    alertsLeftOut: leftOut,
    tires: tireSection(gathered),
    brakes: brakeSection(gathered),
    air: airSection(gathered),
    trips: tripsOf(gathered),
    gaps: gapsOf(gathered),
    muted: mutedOf(gathered),
    notJudged: notJudgedOf(gathered),
    notes: [...notesOf(gathered), ...boundsMet(gathered, found.length, leftOut)],
  };
}

function boundsMet({ gaps }: Gathered, alerts: number, leftOut: number): string[] {
  const notes: string[] = [];
  if (leftOut > 0)
    notes.push(
      `${capital(counted(leftOut, 'alert'))} of the least urgent ones are not told in full: a report tells ${MOST_ALERTS}.`,
    );
  if (alerts > MOST_BARS) notes.push(`The first ${MOST_BARS} of ${alerts} alerts are drawn at a glance.`);
  if (gaps.length > MOST_GAPS) notes.push(`The first ${MOST_GAPS} of ${gaps.length} gaps are listed.`);
  return notes;
}
