import { z } from 'zod';
import { RULE_NAMES, type RuleName } from './resolved.js';
import { ruleOverride } from './rules.js';
import { map, name, quantity, variable, whole, word, words, yesNo } from './scalars.js';

/**
 * The truck file (design.md, "Truck file"). Input: a tree whose scalars are all text (source.ts). Output: values in SI
 * units, not yet checked against each other (load.ts does that) and without defaults.
 */

/** 5 axles are common, 9 are seen on heavy haulers; a location byte counts 15 over the whole combination. */
const MAX_AXLES = 12;

const axle = map({
  name: words(32).optional(),
  kind: word(['steer', 'drive', 'lift', 'tag', 'trailer']),
  tires: word(['single', 'dual']),
  coldPressure: quantity('pressure', 200, 1400).optional(),
  chamber: map({
    type: words(16),
    ratedStroke: quantity('length', 25, 110).optional(),
  }).optional(),
});

const axles = z.array(axle).min(1).max(MAX_AXLES);
const towed = map({ id: name().optional(), axles });

/** `bus/source address`, the address in decimal as everywhere on the bus. */
export const SENDER = /^[A-Za-z0-9_-]{1,32}\/\d{1,3}$/;
const bySender = <T extends z.ZodType>(value: T) => z.record(z.string().regex(SENDER), value);

const signal = map({
  bus: name().optional(),
  pgn: whole(0, 0x3ffff),
  source: whole(0, 253).optional(),
  byte: whole(1, 1785),
  bit: whole(1, 8).optional(),
  length: whole(1, 32),
  scale: words(32),
  offset: words(32).optional(),
  quantity: word(['stroke', 'pressure', 'temperature']),
  subject: words(64),
});
const RULES = Object.fromEntries(RULE_NAMES.map((rule) => [rule, ruleOverride.optional()])) as Record<
  RuleName,
  z.ZodOptional<typeof ruleOverride>
>;

export type SignalText = z.infer<typeof signal>;

/** Section by section, so that a mistake in one does not hide those of another. */
export const SECTIONS = {
  from: z.array(words(256)).min(1).max(8).optional(),
  fleet: name(),
  truck: name(),
  vehicle: word(['truck', 'bus']).optional(),
  buses: z
    .array(map({ name: name(), interface: words(32), acknowledge: yesNo().optional() }))
    .min(1)
    .max(8),
  layout: map({
    tractor: map({ axles }),
    trailer: towed.optional(),
    dolly: towed.optional(),
    'trailer-2': towed.optional(),
  }),
  tirePositions: bySender(z.record(z.string(), words(64))).optional(),
  gauge: bySender(word(['fixed'])).optional(),
  signals: z.array(signal).max(64).optional(),
  coldReference: quantity('temperature', -40, 60).optional(),
  depotAltitude: quantity('altitude', -430, 5000).optional(),
  show: map({
    pressure: word(['kPa', 'psi', 'bar']),
    temperature: word(['°C', '°F'], { C: '°C', F: '°F' }),
    position: word(['exact', 'rounded', 'none']),
  })
    .partial()
    .optional(),
  rules: map(RULES).optional(),
  mqtt: map({
    url: words(256),
    confirm: word(['broker', 'office']).optional(),
    unencrypted: yesNo().optional(),
    user: words(128).optional(),
    password: map({ file: words(256), env: variable() })
      .partial()
      .optional(),
    ca: words(256).optional(),
    cert: words(256).optional(),
    key: words(256).optional(),
  }).optional(),
  store: map({
    path: words(256),
    maxSize: quantity('size', 4e6, 1e12).optional(),
    keep: quantity('duration', 86_400, 3650 * 86_400).optional(),
  }).optional(),
  recorder: map({ path: words(256), maxSize: quantity('size', 4e6, 1e12).optional() }).optional(),
  health: map({ port: whole(1024, 65_535) }).optional(),
  clock: map({ trust: yesNo() }).partial().optional(),
} as const;

export type SectionName = keyof typeof SECTIONS;
/** Sections that hold; undefined ones were left out, or had findings. */
export type TruckFile = { [K in SectionName]?: z.output<(typeof SECTIONS)[K]> };

export const REQUIRED: readonly SectionName[] = ['fleet', 'truck', 'buses', 'layout'];

/** What only the truck file itself may say: two trucks of one name would be one to the office. */
export const TRUCK_FILE_ONLY: readonly SectionName[] = ['from', 'truck'];

/** In place of a map, list or optional entry: it is not there, also when a file that is built on has it. */
export const NONE = 'none';

/** Where NONE may stand; `*` is any sender. */
export const REMOVABLE: readonly string[] = [
  ...['layout.trailer', 'layout.dolly', 'layout.trailer-2'],
  ...['tirePositions', 'tirePositions.*', 'gauge', 'gauge.*', 'signals', 'show', 'rules'],
  ...RULE_NAMES.map((rule) => `rules.${rule}`),
  ...['mqtt', 'mqtt.user', 'mqtt.password', 'mqtt.ca', 'mqtt.cert', 'mqtt.key'],
  ...['store', 'recorder', 'health', 'clock'],
];

/** Maps that are one choice: a stronger file's replaces a weaker one's as a whole. */
export const WHOLE: readonly string[] = ['mqtt.password'];

/** What a missing entry could look like, by its last key. */
export const EXAMPLES: Record<string, string> = {
  fleet: 'fleet: northline',
  truck: 'truck: T-1042',
  buses: 'buses: [{name: main, interface: can0}]',
  layout: 'layout: {tractor: {axles: [{kind: steer, tires: single}]}}',
  tractor: 'tractor: {axles: [{kind: steer, tires: single}]}',
  from: 'from: [../fleet.yaml, ../types/6x4.yaml]',
  axles: 'axles: [{kind: steer, tires: single}]',
  kind: 'kind: drive',
  tires: 'tires: dual',
  type: 'type: 30',
  name: 'name: main',
  interface: 'interface: can0',
  mqtt: 'mqtt: {url: "mqtt://127.0.0.1:1883"}',
  store: 'store: {path: axlepost.db}',
  recorder: 'recorder: {path: recordings}',
  health: 'health: {port: 9471}',
  port: 'port: 9471',
  clock: 'clock: {trust: yes}',
  password: 'password: {env: AXLEPOST_PASSWORD}',
  show: 'show: {pressure: psi}',
  rules: 'rules: {tire-hot: {enabled: yes}}',
  tirePositions: 'tirePositions: {main/51: {"0x10": tractor/2/left/outer}}',
  signals: 'signals: []',
  url: 'url: "mqtt://127.0.0.1:1883"',
  path: 'path: axlepost.db',
  pgn: 'pgn: 0xFF12',
  byte: 'byte: 1',
  length: 'length: 8',
  scale: 'scale: 0.1 mm',
  quantity: 'quantity: stroke',
  subject: 'subject: tractor/2/left',
};
