import { z } from 'zod';
import { ascii, keyword, MAX_LENGTH, replay, seq, stamp, store, version1, words } from './fields.js';

/** The two kinds of message on topic `trip`. Key order is the order in which they are written. */

export const MAX_TRIP_BYTES = 4096;

const seconds = z.number().min(0);
const subject = ascii(MAX_LENGTH.subject);
const kpa = z.number().nullable();

/** A trip that has ended. What an earlier version has stored of it lacks most of these keys. */
export const tripSchema = z.object({
  v: version1,
  replay,
  kind: z.literal('summary').optional(),
  store,
  boot: seq,
  trip: seq,
  config: ascii(MAX_LENGTH.short),
  version: ascii(MAX_LENGTH.short).optional(),
  synced: z.boolean(),
  start: stamp,
  end: stamp,
  durationS: seconds.optional(),
  movingS: seconds.optional(),
  engineS: seconds.optional(),
  distanceKm: z.number().min(0).nullable(),
  distanceFrom: z.enum(['odometer', 'speed']).nullable().optional(),
  applications: z.object({ count: seq, qualifying: seq, hardestKpa: kpa }).optional(),
  hottestTire: z.object({ subject, celsius: z.number() }).nullable().optional(),
  lowestAir: z.object({ primaryKpa: kpa, secondaryKpa: kpa }).optional(),
  /** Share of engine-running time spent pumping. */
  compressor: z
    .object({ share: z.number().min(0).max(1), from: z.enum(['signal', 'cycles']) })
    .nullable()
    .optional(),
  /** Alerts raised in it. */
  alerts: seq,
  /** By the worst urgency that they reached in it. */
  raised: z.object({ plan: seq, 'next-stop': seq, 'pull-over': seq }).optional(),
  /** Seconds without any message of interest inside it. */
  gapS: seconds,
  /** Sensors that were expected to tell something and did not. */
  silent: z.array(z.object({ subject, seconds })).optional(),
  /** Sensors that somebody had called bad at any time during it. */
  notJudged: z.array(z.object({ subject, what: keyword, who: words(MAX_LENGTH.short), until: stamp })),
  more: z.number().int().min(1).optional(),
});
export type ReceivedTrip = z.infer<typeof tripSchema>;

const code = z.number().int().min(0).max(7).nullable();

/** What was seen of the truck at the start of a trip. */
export const startCheckSchema = z.object({
  v: version1,
  replay,
  kind: z.literal('start-check'),
  store,
  boot: seq,
  trip: seq,
  config: ascii(MAX_LENGTH.short),
  version: ascii(MAX_LENGTH.short).optional(),
  synced: z.boolean(),
  start: stamp,
  at: stamp,
  why: keyword,
  stoodS: seconds.nullable(),
  /** By subject: kPa, cold-equivalent kPa, target kPa, share of the target, age s, sure. */
  tires: z.record(subject, z.tuple([kpa, kpa, kpa, z.number().nullable(), z.number().nullable(), z.boolean()])),
  brakes: z.object({
    applications: seq,
    /** By subject: state applied, state released, stroke mm, stroke at rest mm. */
    wheels: z.record(subject, z.tuple([code, code, z.number().nullable(), z.number().nullable()])),
  }),
  air: z.object({
    startKpa: kpa,
    lowAirS: seconds.nullable(),
    buildUp: z.object({ seconds, meanRpm: z.number().nullable() }).nullable(),
    leakTests: z.array(
      z.object({
        state: z.enum(['released', 'applied']),
        circuit: subject,
        seconds,
        kpaPerMin: z.number(),
        limit: z.number(),
      }),
    ),
  }),
  more: z.number().int().min(1).optional(),
});
export type ReceivedCheck = z.infer<typeof startCheckSchema>;

/** What may come on topic `trip`. */
export const tripTopicSchema = z.union([startCheckSchema, tripSchema]);
