import { z } from 'zod';

/** `h:mm:ss` from the start of the shift, hours without end; read as seconds. */
export const clock = z
  .string()
  .regex(/^\d+:[0-5]\d:[0-5]\d$/, 'expected h:mm:ss')
  .transform((text) => {
    const [h, m, s] = text.split(':').map(Number);
    return h! * 3600 + m! * 60 + s!;
  });
export const positive = z.number().positive();
export const share = z.number().min(0).max(1.5);
const notNegative = z.number().min(0);
const address = z.number().int().min(0).max(253);

const period = { from: clock, to: clock };
const tire = { tire: z.string() };
const wheelEnd = { wheelEnd: z.string() };

/** A rate by the minute, or by the day for what is slow. */
const leakPhase = z
  .strictObject({ from: clock, kpaPerMin: notNegative.optional(), kpaPerDay: notNegative.optional() })
  .refine((phase) => (phase.kpaPerMin === undefined) !== (phase.kpaPerDay === undefined), {
    message: 'write either kpaPerMin or kpaPerDay',
  })
  .transform(({ from, kpaPerMin, kpaPerDay }) => ({ from, kpaPerMin: kpaPerMin ?? kpaPerDay! / 1440 }));

/** What a sender may be without, by the name that people use; SPNs in messages.ts. */
export const SIGNALS_NAMED = [
  'barometer',
  'ambient',
  'speed',
  'engine-speed',
  'application-pressure',
  'pedal',
  'brake-switch',
  'parking-brake',
  'compressor',
  'service-pressure',
  'tire-temperature',
  'stroke-status',
] as const;

const kind = <K extends string, S extends z.core.$ZodLooseShape>(name: K, shape: S) =>
  z.strictObject({ kind: z.literal(name), ...shape, ...period });

/** Everything that can go wrong. Times: from this moment on, until just before that one. */
export const fault = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('tire-leak'),
    ...tire,
    /** Each rate holds until the next; kPa at 18 °C. The last ends at `to`. */
    phases: z.array(leakPhase).min(1),
    to: clock,
    /** Somebody mends and fills the tire to this share of its target. */
    refill: z.strictObject({ ...period, share, kpaPerMin: positive }).optional(),
  }),
  /** All air is gone within seconds; with sensorDies the sensor is never heard again. */
  kind('tire-burst', { ...tire, sensorDies: z.boolean().default(false) }),
  kind('sensor-silent', tire),
  /** The same reading again and again. */
  kind('sensor-stuck', tire),
  kind('sensor-drift', { ...tire, kpaPerHour: z.number() }),
  /** What it says of itself: SPN 1697, the error band in pressure, a temperature no tire has, or nothing at all. */
  kind('sensor-error', { ...tire, says: z.enum(['electrical', 'error', 'impossible', 'nothing', 'idle']) }),
  kind('brake-overstroke', { ...wheelEnd, aboveKpa: positive, extraMm: positive.max(60).optional() }),
  kind('brake-dragging', { ...wheelEnd, heatKw: positive }),
  kind('brake-not-applying', wheelEnd),
  /** More stroke than its mate across the axle; seen where stroke is measured. */
  kind('brake-uneven', { ...wheelEnd, extraMm: positive.max(60) }),
  kind('brake-growing', { ...wheelEnd, mmPerHour: positive }),
  kind('brake-sensor', wheelEnd),
  kind('brake-lining', { ...wheelEnd, percent: notNegative.max(100) }),
  /** The controller's own verdict, SPN 3839. */
  kind('brake-hot', {}),
  kind('air-leak', {
    supplyKpaPerMin: notNegative,
    primaryKpaPerMin: notNegative,
    secondaryKpaPerMin: notNegative,
    trailerKpaPerMin: notNegative.optional(),
    /** Only while the brakes are applied. */
    applied: z.boolean().optional(),
  }),
  /** A check valve that lets no air in: what is used of the circuit does not come back. */
  kind('circuit-blocked', { circuit: z.enum(['primary', 'secondary']) }),
  kind('compressor-weak', { share: notNegative.max(1) }),
  kind('governor', { cutInKpa: positive.max(1200), cutOutKpa: positive.max(1200) }),
  kind('fault-codes', {
    source: address,
    lamp: z.enum(['none', 'amber', 'red']),
    codes: z
      .array(
        z.strictObject({
          spn: z.number().int().min(1).max(524287),
          fmi: z.number().int().min(0).max(31),
          count: z.number().int().min(0).max(126),
        }),
      )
      .max(16),
  }),
  kind('bus-silent', {}),
  /** Error frames of the controller: once bus-off, or so many a second. */
  kind('bus-errors', { busOff: z.boolean().default(false), perSecond: notNegative.max(200).default(0) }),
  kind('source-silent', { source: address }),
  /** Tire frames from places that the truck does not have. */
  kind('strange-locations', { locations: z.array(z.number().int().min(0).max(254)).min(1).max(16) }),
  kind('not-sent', { signals: z.array(z.enum(SIGNALS_NAMED)).min(1) }),
]);

/** What people do to the truck; nothing of it is a fault. */
export const event = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('trailer-drop'), at: clock }),
  /** Another trailer of the same kind, its tires filled on their own day, with sensors of its own. */
  z.strictObject({
    kind: z.literal('trailer-couple'),
    at: clock,
    id: z.string().optional(),
    fillShare: share.default(1),
  }),
  /** A new tire with a new sensor, filled to the target by the gauge at the temperature of the moment. */
  z.strictObject({ kind: z.literal('tire-change'), at: clock, ...tire }),
  /** The tires change places with their sensors; the receiver still calls them by their old places. */
  z.strictObject({ kind: z.literal('sensors-swapped'), at: clock, tires: z.tuple([z.string(), z.string()]) }),
  /** Air is added or let out, by the gauge, to this share of the target. */
  z.strictObject({ kind: z.literal('tire-fill'), at: clock, ...tire, share }),
]);

export type Fault = z.infer<typeof fault>;
export type FaultKind = Fault['kind'];
export type ScenarioEvent = z.infer<typeof event>;
