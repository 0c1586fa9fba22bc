import { z } from 'zod';
import { URGENCIES } from '../../config/resolved.js';
import { CHANGES } from '../../daemon/alerts/event.js';
import { ascii, keyword, MAX_LENGTH, name, replay, seq, stamp, store, version1, words } from './fields.js';

export { MAX_LENGTH } from './fields.js';

/**
 * Schemas of everything that goes over MQTT. Key order is the order in which messages are written. A reader ignores keys that
 * it does not know, and takes rule names, subjects and reasons that it does not know: those may be added without a new version.
 */

export const MAX_EVENT_BYTES = 4096;
export const MAX_OPEN_BYTES = 16_384;
export const MAX_PRESENCE_BYTES = 512;
/** 18 wheels need at most 1.5 KB; this leaves room for the longest road trains. */
export const MAX_READING_BYTES = 4096;
export const MAX_GAP_BYTES = 1024;
export const MAX_ANSWER_BYTES = 16_384;
export const MAX_DECISIONS = 64;
export const MAX_EVIDENCE_POINTS = 12;
/** Of marked sensors in `open`: alerts need the room. */
export const MAX_NOT_JUDGED = 20;

const urgency = z.enum(URGENCIES);
const kind = z.enum(['equipment', 'system']);

const measuredSchema = z.union([
  z.object({
    quantity: words(MAX_LENGTH.short),
    window: words(MAX_LENGTH.short).optional(),
    value: z.number(),
    low: z.number().optional(),
    high: z.number().optional(),
    limit: z.number().optional(),
    unit: words(MAX_LENGTH.unit),
    quality: z.enum(['good', 'disputed']),
  }),
  z.object({ code: z.number(), text: words(MAX_LENGTH.text), of: words(MAX_LENGTH.short).optional() }),
  z.object({ silentS: z.number().min(0) }),
]);

export const eventSchema = z.object({
  v: version1,
  replay,
  fleet: name,
  truck: name,
  trailer: ascii(MAX_LENGTH.trailer).nullable(),
  store,
  boot: seq,
  seq: seq.min(1),
  stored: z.literal(false).optional(),
  config: ascii(MAX_LENGTH.short),
  /** Of the program that decided it; events of earlier versions do not say. */
  version: ascii(MAX_LENGTH.short).optional(),
  alert: ascii(MAX_LENGTH.id),
  cause: ascii(MAX_LENGTH.id).nullable(),
  rule: keyword,
  kind,
  subject: ascii(MAX_LENGTH.subject),
  place: words(MAX_LENGTH.place),
  change: z.enum(CHANGES),
  reason: keyword.optional(),
  /** Of a person at the office: who, what they wrote, and how long a snooze is. */
  who: words(MAX_LENGTH.short).optional(),
  note: words(MAX_LENGTH.basis).optional(),
  snoozeS: z.number().int().min(1).optional(),
  urgency,
  was: urgency.nullable(),
  since: stamp,
  at: stamp,
  synced: z.boolean(),
  heldS: z.number().int().min(0).nullable(),
  measured: measuredSchema.nullable(),
  evidence: z
    .object({
      quantity: words(MAX_LENGTH.short),
      unit: words(MAX_LENGTH.unit),
      points: z.array(z.tuple([stamp, z.number()])).max(MAX_EVIDENCE_POINTS),
    })
    .nullable(),
  forecast: z.object({ what: words(MAX_LENGTH.text), at: stamp, from: stamp, to: stamp }).nullable(),
  advice: words(MAX_LENGTH.advice),
  basis: words(MAX_LENGTH.basis),
  vehicle: z.object({
    speed: z.number().nullable(),
    lat: z.number().nullable(),
    lon: z.number().nullable(),
    age: z.number().nullable(),
  }),
});
export type ReceivedEvent = z.infer<typeof eventSchema>;

export const openSchema = z.object({
  v: version1,
  replay,
  store,
  asOf: seq,
  at: stamp,
  synced: z.boolean().optional(),
  trailer: ascii(MAX_LENGTH.trailer).nullable().optional(),
  alerts: z.array(
    z.object({
      alert: ascii(MAX_LENGTH.id),
      cause: ascii(MAX_LENGTH.id).nullable(),
      rule: keyword,
      kind,
      subject: ascii(MAX_LENGTH.subject),
      place: words(MAX_LENGTH.place),
      urgency,
      unsure: z.boolean(),
      chattering: z.boolean(),
      since: stamp,
      measured: measuredSchema.nullable(),
      taken: z.object({ who: words(MAX_LENGTH.short), at: stamp }).optional(),
      snoozed: z.object({ who: words(MAX_LENGTH.short), until: stamp }).optional(),
    }),
  ),
  muted: z.array(z.object({ rule: keyword, subject: ascii(MAX_LENGTH.subject), urgency, by: keyword })),
  notJudged: z
    .array(z.object({ subject: ascii(MAX_LENGTH.subject), what: keyword, who: words(MAX_LENGTH.short), until: stamp }))
    .max(MAX_NOT_JUDGED)
    .optional(),
  more: z.number().int().min(0),
});
export type ReceivedOpen = z.infer<typeof openSchema>;

export const PRESENCE_STATES = ['awake', 'blind', 'parked', 'asleep', 'offline'] as const;

export const presenceSchema = z.object({
  v: version1,
  replay,
  state: z.enum(PRESENCE_STATES),
  store,
  boot: seq,
  version: ascii(MAX_LENGTH.short),
  config: ascii(MAX_LENGTH.short),
  /** Bus name → how it is listened to (`listen-only`, `acknowledging`, `virtual`, `down`). */
  bus: z.record(ascii(MAX_LENGTH.short), ascii(MAX_LENGTH.short)),
  degraded: z.array(ascii(MAX_LENGTH.short)),
  /** Since when it has been so; null where the sender could not know (the will). */
  since: stamp.nullable(),
});
export type PresenceMessage = z.infer<typeof presenceSchema>;

export const readingSchema = z.object({
  v: version1,
  replay,
  at: stamp,
  r: z.record(ascii(MAX_LENGTH.subject), z.array(z.number().nullable())),
  more: z.number().int().min(1).optional(),
});
export type ReceivedReading = z.infer<typeof readingSchema>;

export const gapSchema = z.object({
  v: version1,
  replay,
  store,
  fromSeq: seq,
  toSeq: seq,
  what: words(MAX_LENGTH.text),
  /** How many of the events from fromSeq to toSeq, or of `what` where both are 0, will never come. */
  count: seq,
  why: words(MAX_LENGTH.text),
});
export type GapMessage = z.infer<typeof gapSchema>;

export const answerSchema = z.object({
  v: version1,
  rev: seq,
  /** Up to and with this number everything has been received; null as long as nothing has. */
  received: z.object({ store, seq }).nullable(),
  trailer: ascii(MAX_LENGTH.trailer).nullable(),
  decisions: z
    .array(
      z.object({
        rev: seq,
        alert: ascii(MAX_LENGTH.id),
        do: z.enum(['take', 'snooze', 'resume', 'close']),
        who: words(MAX_LENGTH.short),
        note: words(MAX_LENGTH.basis).nullable().optional(),
        minutes: z.number().int().min(1).max(720).nullable().optional(),
      }),
    )
    .max(MAX_DECISIONS),
});
export type AnswerMessage = z.infer<typeof answerSchema>;

/**
 * A payload as its schema has it, or null with one line that says why: too long, no JSON, or the first field that is wrong.
 * Never throws.
 */
export function parsePayload<Schema extends z.ZodType>(
  schema: Schema,
  payload: Uint8Array,
  maxBytes: number,
): { message: z.infer<Schema>; error: null } | { message: null; error: string } {
  if (payload.length > maxBytes) return { message: null, error: `${payload.length} bytes, more than ${maxBytes}` };
  let json: unknown;
  try {
    json = JSON.parse(Buffer.from(payload).toString('utf8'));
  } catch {
    return { message: null, error: 'not JSON' };
  }
  const result = schema.safeParse(json);
  if (result.success) return { message: result.data, error: null };
  const issue = result.error.issues[0];
  return { message: null, error: `${issue?.path.join('.') || 'message'}: ${issue?.message ?? 'not as expected'}` };
}
