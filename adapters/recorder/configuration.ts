import { z } from 'zod';
import { loadDefaults } from '../../config/defaults.js';
import { RULE_NAMES, type RuleConfig, type TruckConfig, URGENCIES } from '../../config/resolved.js';
import { mergeRule } from '../../config/rules.js';

const criterion = z.object({
  urgency: z.enum(URGENCIES),
  raise: z.number().nullable(),
  clear: z.number().nullable(),
  raiseAfterS: z.number(),
  clearAfterS: z.number(),
  of: z.object({ n: z.number(), m: z.number() }).nullable(),
  basis: z.string(),
});

const rule = z.object({
  enabled: z.boolean(),
  criteria: z.record(z.string(), criterion),
  constants: z.record(z.string(), z.number()),
});

/** A recording of an older version does not have the newer rules: they are off in it. */
function withAllRules(recorded: Record<string, RuleConfig>): TruckConfig['rules'] {
  const rules = { ...recorded } as TruckConfig['rules'];
  for (const name of RULE_NAMES) {
    if (recorded[name] !== undefined) continue;
    rules[name] = { ...mergeRule(loadDefaults()[name], name, {}, ['rules', name], []), enabled: false };
  }
  return rules;
}

const axle = z.object({
  name: z.string(),
  kind: z.enum(['steer', 'drive', 'lift', 'tag', 'trailer']),
  tires: z.enum(['single', 'dual']),
  coldPressureKpa: z.number().nullable(),
  chamber: z.object({ type: z.string(), ratedStrokeMm: z.number().nullable() }).nullable(),
});

const signal = z.object({
  bus: z.string().nullable(),
  pgn: z.number(),
  source: z.number().nullable(),
  byte: z.number(),
  bit: z.number(),
  length: z.number(),
  scale: z.number(),
  offset: z.number(),
  quantity: z.string(),
  subject: z.string(),
});

/** A TruckConfig as JSON: the shape is checked, not the sense; what is not known is dropped. */
export const configurationSchema = z.object({
  fleet: z.string(),
  truck: z.string(),
  vehicle: z.enum(['truck', 'bus']),
  buses: z.array(z.object({ name: z.string(), interface: z.string(), acknowledge: z.boolean() })).min(1),
  units: z.array(z.object({ unit: z.string(), id: z.string().nullable(), axles: z.array(axle) })),
  tirePositions: z.array(z.object({ bus: z.string(), source: z.number(), tires: z.record(z.string(), z.string()) })),
  fixedGaugeSources: z.array(z.object({ bus: z.string(), source: z.number() })),
  signals: z.array(signal),
  coldReferenceC: z.number(),
  depotAirKpa: z.number(),
  show: z.object({
    pressure: z.enum(['kPa', 'psi', 'bar']),
    temperature: z.enum(['°C', '°F']),
    position: z.enum(['exact', 'rounded', 'none']),
  }),
  rules: z.record(z.string(), rule).transform(withAllRules),
  mqtt: z.null(),
  store: z.object({ path: z.string(), maxBytes: z.number(), keepMs: z.number() }).nullable(),
  recorder: z.object({ path: z.string(), maxBytes: z.number() }).nullable(),
  health: z.object({ port: z.number() }).nullable(),
  clock: z.object({ trust: z.boolean() }),
  marks: z.array(
    z.object({ subject: z.string(), what: z.literal('sensor-bad'), who: z.string(), untilMs: z.number() }),
  ),
  hash: z.string(),
}) satisfies z.ZodType<TruckConfig>;
