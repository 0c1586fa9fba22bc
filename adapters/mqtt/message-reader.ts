import type { z } from 'zod';
import {
  eventSchema,
  type GapMessage,
  gapSchema,
  MAX_EVENT_BYTES,
  MAX_GAP_BYTES,
  MAX_OPEN_BYTES,
  MAX_PRESENCE_BYTES,
  MAX_READING_BYTES,
  openSchema,
  type PresenceMessage,
  parsePayload,
  presenceSchema,
  type ReceivedEvent,
  type ReceivedOpen,
  type ReceivedReading,
  readingSchema,
} from './messages.js';
import { LIVE_ROOT, parseTopic } from './topics.js';
import { MAX_TRIP_BYTES, type ReceivedCheck, type ReceivedTrip, tripTopicSchema } from './trip-messages.js';

/** Who speaks: taken from the topic, never from the payload. */
export interface Sender {
  fleet: string;
  truck: string;
}

/** What a truck has said, as its schema has it. */
export type Heard =
  | { kind: 'event'; message: ReceivedEvent }
  | { kind: 'open'; message: ReceivedOpen }
  | { kind: 'presence'; message: PresenceMessage }
  | { kind: 'reading'; message: ReceivedReading }
  | { kind: 'trip'; message: ReceivedTrip }
  | { kind: 'start-check'; message: ReceivedCheck }
  | { kind: 'gap'; message: GapMessage };

/**
 * `invalid`: too long, no JSON or not as its schema has it. `foreign`: not from where it says it is, or no topic of ours. `why`: one
 * line.
 */
export interface Dropped {
  dropped: 'invalid' | 'foreign';
  why: string;
}

/** Last levels of the topics that trucks write, the state of things first. */
export const TRUCK_TOPICS = ['presence', 'open', 'reading', 'event', 'trip', 'gap'] as const;

const FORMS: Readonly<Record<(typeof TRUCK_TOPICS)[number], { schema: z.ZodType; maxBytes: number }>> = {
  presence: { schema: presenceSchema, maxBytes: MAX_PRESENCE_BYTES },
  open: { schema: openSchema, maxBytes: MAX_OPEN_BYTES },
  reading: { schema: readingSchema, maxBytes: MAX_READING_BYTES },
  event: { schema: eventSchema, maxBytes: MAX_EVENT_BYTES },
  trip: { schema: tripTopicSchema, maxBytes: MAX_TRIP_BYTES },
  gap: { schema: gapSchema, maxBytes: MAX_GAP_BYTES },
};

const isTruckTopic = (name: string): name is keyof typeof FORMS => Object.hasOwn(FORMS, name);

/** Reads what came on a topic under `root`. Null: a retained message has been removed. Never throws. */
export function readMessage(
  root: string,
  topic: string,
  payload: Uint8Array,
): { from: Sender; heard: Heard } | Dropped | null {
  const parsed = parseTopic(root, topic);
  if (parsed === null || !isTruckTopic(parsed.name)) return { dropped: 'foreign', why: 'not a topic of ours' };
  if (payload.length === 0) return null;
  const { schema, maxBytes } = FORMS[parsed.name];
  const { message, error } = parsePayload(schema, payload, maxBytes);
  if (error !== null) return { dropped: 'invalid', why: error };
  const from = { fleet: parsed.fleet, truck: parsed.truck };
  // FORMS has the schema that belongs to the name.
  const heard = { kind: kindOf(parsed.name, message), message } as Heard;
  if (heard.kind === 'event' && (heard.message.fleet !== from.fleet || heard.message.truck !== from.truck)) {
    return { dropped: 'foreign', why: 'the payload names another fleet or truck' };
  }
  if (root === LIVE_ROOT && 'replay' in heard.message) {
    return { dropped: 'foreign', why: 'a replay where trucks say what is now' };
  }
  return { from, heard };
}

/** `trip` carries two kinds of message. */
function kindOf(name: keyof typeof FORMS, message: unknown): Heard['kind'] {
  return name === 'trip' && (message as { kind?: string }).kind === 'start-check' ? 'start-check' : name;
}
