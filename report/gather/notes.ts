import type { Counters } from '../../daemon/pipeline-state.js';
import type { Lists } from './lists.js';
import type { Room } from './room.js';
import type { ClockSteps } from './run-clock.js';

/** What the pipeline counted that a reader of a report should know of. */
export type Tally = Pick<Counters, 'strangeLocations' | 'implausible' | 'recordsDropped' | 'sourcesDropped'>;

export const newTally = (): Tally => ({
  strangeLocations: 0,
  implausible: 0,
  recordsDropped: 0,
  sourcesDropped: 0,
});

/** Adds what was counted from `before` to `now`. */
export function addCounts(tally: Tally, before: Tally, now: Tally): void {
  for (const key of Object.keys(tally) as (keyof Tally)[]) tally[key] += now[key] - before[key];
}

const many = (n: number, one: string, more: string): string => `${n === 1 ? 'One' : n} ${n === 1 ? one : more}`;

/** Whole sentences, none where there is nothing to say. */
export function noteLines({ untold }: ClockSteps, tally: Tally, room: Room, lists: Lists): string[] {
  const { readings, minutes, everywhere } = room;
  const around = everywhere ? '' : ', outside of the hour around each change of an alert';
  const { strangeLocations, implausible, recordsDropped, sourcesDropped } = tally;
  const told: [count: number, sentence: string][] = [
    [untold, `${many(untold, 'more step of the clock is', 'more steps of the clock are')} not told one by one.`],
    [
      strangeLocations,
      `${many(strangeLocations, 'tire message came from a place', 'tire messages came from places')} that the truck file does not have.`,
    ],
    [
      implausible,
      `${many(implausible, 'reading was a value', 'readings were values')} that no truck can have, and counted for nothing.`,
    ],
    [
      recordsDropped,
      `${many(recordsDropped, 'brake application, air test or air cycle was', 'brake applications, air tests or air cycles were')} not kept: too many in one second.`,
    ],
    [
      sourcesDropped,
      `${many(sourcesDropped, 'frame came from a sender', 'frames came from senders')} beyond those that can be watched at once.`,
    ],
    [
      readings,
      `There were too many readings to keep them all: about one in ${2 ** readings} is kept${around}, least and greatest values among them.`,
    ],
    [minutes, `There were too many minutes to keep them all: ${2 ** minutes} of them make one.`],
    [
      lists.applicationsDropped,
      `${many(lists.applicationsDropped, 'brake application is', 'brake applications are')} left out, the softest.`,
    ],
    [
      lists.dropped,
      `${many(lists.dropped, 'event or record is', 'events and records are')} left out, the latest: there are too many. A shorter piece (--from, --to) has them all.`,
    ],
  ];
  return told.filter(([count]) => count > 0).map(([, sentence]) => sentence);
}
