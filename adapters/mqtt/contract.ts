import type { z } from 'zod';
import {
  answerSchema,
  eventSchema,
  gapSchema,
  MAX_ANSWER_BYTES,
  MAX_EVENT_BYTES,
  MAX_GAP_BYTES,
  MAX_OPEN_BYTES,
  MAX_PRESENCE_BYTES,
  MAX_READING_BYTES,
  openSchema,
  presenceSchema,
  readingSchema,
} from './messages.js';
import type { TopicName } from './topics.js';
import { MAX_TRIP_BYTES, startCheckSchema, tripSchema } from './trip-messages.js';

/** One kind of message: what a back office has to know of it. */
export interface MessageContract {
  /** Also its file in docs/messages/, and its section in docs/topics.md. */
  name: string;
  topic: TopicName;
  from: 'truck' | 'office';
  retained: boolean;
  maxBytes: number;
  schema: z.ZodObject;
  what: string;
}

/** All that is said between trucks and office. Public: additions are fine, renames and removals are a new version. */
export const MESSAGES: readonly MessageContract[] = [
  {
    name: 'presence',
    topic: 'presence',
    from: 'truck',
    retained: true,
    maxBytes: MAX_PRESENCE_BYTES,
    schema: presenceSchema,
    what: 'What the truck is doing. State offline is also the will, which the broker sends.',
  },
  {
    name: 'event',
    topic: 'event',
    from: 'truck',
    retained: false,
    maxBytes: MAX_EVENT_BYTES,
    schema: eventSchema,
    what: 'A change of an alert, identified by fleet, truck, store and seq. May come several times.',
  },
  {
    name: 'open',
    topic: 'open',
    from: 'truck',
    retained: true,
    maxBytes: MAX_OPEN_BYTES,
    schema: openSchema,
    what: 'All open alerts, worst first, as they are after the event numbered asOf.',
  },
  {
    name: 'reading',
    topic: 'reading',
    from: 'truck',
    retained: true,
    maxBytes: MAX_READING_BYTES,
    schema: readingSchema,
    what: 'The values of all wheels, brakes and circuits that were ever heard, with their ages.',
  },
  {
    name: 'trip',
    topic: 'trip',
    from: 'truck',
    retained: false,
    maxBytes: MAX_TRIP_BYTES,
    schema: tripSchema,
    what: 'The summary of a trip that has ended; kind is summary or missing.',
  },
  {
    name: 'start-check',
    topic: 'trip',
    from: 'truck',
    retained: false,
    maxBytes: MAX_TRIP_BYTES,
    schema: startCheckSchema,
    what: 'What was seen of the truck at the start of a trip; kind is start-check.',
  },
  {
    name: 'gap',
    topic: 'gap',
    from: 'truck',
    retained: false,
    maxBytes: MAX_GAP_BYTES,
    schema: gapSchema,
    what: 'Events, trips or start checks that will never come, because their room was needed.',
  },
  {
    name: 'answer',
    topic: 'answer',
    from: 'office',
    retained: true,
    maxBytes: MAX_ANSWER_BYTES,
    schema: answerSchema,
    what: 'All that the office wants of the truck: how far it has received, its trailer, its decisions.',
  },
];
