import { z } from 'zod';
import { MODES } from './drive-cycle.js';
import { clock, event, fault, positive, share } from './fault-schema.js';

const axle = z.strictObject({
  name: z.string(),
  kind: z.enum(['steer', 'drive', 'lift', 'tag', 'trailer']),
  tires: z.enum(['single', 'dual']),
  coldKpa: positive.max(1000),
  /** As stamped on it; without it a type that is usual for the axle. */
  chamber: z.strictObject({ type: z.string(), ratedStrokeMm: positive.max(120) }).optional(),
});

const truck = z.strictObject({
  vehicle: z.enum(['truck', 'bus']).default('truck'),
  vin: z.string().regex(/^[A-Z0-9]{17}$/),
  odometerKm: z.number().min(0),
  /** Share of the load it may carry: tires and brakes heat accordingly. */
  load: z.number().min(0).max(1.2).default(0.6),
  tractor: z.strictObject({ axles: z.array(axle).min(1) }),
  trailer: z.strictObject({ id: z.string().optional(), axles: z.array(axle).min(1) }).optional(),
});

const kpaOutside = z.number().min(50).max(110);
const weather = z
  .strictObject({
    /** At the start and at the end; a straight line between. */
    ambientC: z.tuple([z.number(), z.number()]).optional(),
    /** Or every day alike: lowest at five in the morning, highest at three in the afternoon, by the stamps. */
    daily: z.strictObject({ lowC: z.number(), highC: z.number() }).optional(),
    /** Likewise at the start and at the end. */
    outsideKpa: z.tuple([kpaOutside, kpaOutside]).optional(),
    /** Or where the shift begins; from there on the road's grades count, and it grows colder higher up. */
    altitudeM: z.number().min(-400).max(4000).optional(),
  })
  .refine(({ ambientC, daily }) => (ambientC === undefined) !== (daily === undefined), {
    message: 'write either ambientC or daily',
  })
  .refine(({ outsideKpa, altitudeM }) => (outsideKpa === undefined) !== (altitudeM === undefined), {
    message: 'write either outsideKpa or altitudeM',
  });

/** How the shop filled the tires. */
const tires = z
  .strictObject({
    share: share.default(1),
    /** Single tires that were filled otherwise: share of the target, by subject. */
    each: z.record(z.string(), share).default({}),
    /** Each wheel a little different, at most by this share. */
    spread: z.number().min(0).max(0.2).default(0.015),
    /** The gauge showed the target at this temperature of the tire; 18 °C is the reference. */
    filledAtC: z.number().min(-40).max(60).default(18),
    /** Through the rubber, kPa a day. */
    permeationKpaPerDay: z.number().min(0).max(2).default(0),
  })
  .prefault({});

const sensors = z
  .strictObject({
    /** On the rim, at the valve, or a little of both. */
    kind: z.enum(['mixed', 'rim', 'valve']).default('mixed'),
    message: z.enum(['TIRE1', 'TIRE2']).default('TIRE1'),
    /** Fixed: absolute pressure less 101.325 kPa, whatever the altitude. */
    gauge: z.enum(['relative', 'fixed']).default('relative'),
    /** Sets: the receiver repeats all of them every 10 s. Single: it passes on what it hears, when it hears it. */
    sending: z.enum(['sets', 'single']).default('sets'),
    loss: z.number().min(0).max(0.9).default(0.05),
    noiseKpa: z.number().min(0).max(10).default(0.8),
    /** Each sensor is off by its own constant, at most so much. */
    biasKpa: z.number().min(0).max(20).default(0),
    /** Single only: after a fall it reports every 2 s; after so long at a stand it sleeps. */
    wakesOnLeak: z.boolean().default(true),
    sleepAfterMin: positive.max(600).default(20),
  })
  .prefault({});

const air = z.strictObject({
  /** Pressure of the two service circuits after the night, kPa. */
  primaryKpa: z.number().min(0).max(900),
  secondaryKpa: z.number().min(0).max(900),
  cutInKpa: positive.max(1200).default(690),
  cutOutKpa: positive.max(1200).default(862),
  /** Compressor and its leaks compared with a healthy one. */
  compressor: positive.max(2).default(1),
  seep: z.number().min(0).max(20).default(1),
  /** What the dryer blows off at cut-out, out of the supply reservoir, kPa. */
  purgeKpa: z.number().min(0).max(150).default(0),
});

const leg = z.strictObject({
  mode: z.enum(MODES),
  until: clock,
  idleRpm: positive.optional(),
  /** Standing: the driver holds the brakes so hard. */
  holdKpa: positive.max(900).optional(),
});

const hz = z.record(z.string(), positive.max(50)).default({});

export const schema = z.strictObject({
  name: z.string().regex(/^[A-Za-z0-9_-]{1,40}$/),
  title: z.string(),
  /** Stamp of the first moment. */
  start: z.iso.datetime(),
  seed: z.number().int().min(0).max(4294967295),
  interface: z.string().regex(/^[a-z0-9]{1,15}$/),
  truck,
  weather,
  tires,
  sensors,
  brakes: z
    .strictObject({
      /** Stroke in mm in a proprietary group, PGN 65313 from the brake controller. */
      measured: z.boolean().default(false),
    })
    .prefault({}),
  air,
  /** Groups that are sent as well. */
  also: z.array(z.enum(['HRW', 'TCO1', 'EBC3', 'EBC4', 'EBC5', 'B2'])).default([]),
  /** In mountains: how high the road goes over where it began, m. */
  passM: positive.max(3500).default(1000),
  driver: z.enum(['calm', 'brisk']).default('calm'),
  /** Corners of the road, [latitude, longitude] in degrees. */
  route: z.array(z.tuple([z.number(), z.number()])).min(2),
  drive: z.array(leg).min(1),
  faults: z.array(fault).default([]),
  events: z.array(event).default([]),
  /** Frames per second of groups sent more slowly than the standard says, to keep a log small. */
  thin: z.strictObject({ driving: hz, parked: hz }).prefault({}),
});

/** As a scenario file has it. */
export type ScenarioFile = z.input<typeof schema>;
