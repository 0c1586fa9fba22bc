import { brokerOf } from './broker.js';
import { checkBuses, gaugesOf, positionsOf, unitsOf } from './crosscheck.js';
import { configHash } from './hash.js';
import type { Finding } from './problems.js';
import { RULE_NAMES, type RuleConfig, type RuleName, type TruckConfig } from './resolved.js';
import { type Defaults, mergeRule } from './rules.js';
import type { TruckFile } from './schema.js';
import { signalsOf } from './signals.js';

const COLD_REFERENCE_C = 18;
const STORE_BYTES = 256e6;
const KEEP_S = 90 * 86_400;
const RECORDER_BYTES = 256e6;

/** The same, by path, as a person would write them. tests/config/explain.test.ts holds them to the above. */
export const DEFAULT_TEXTS: readonly [path: string, text: string][] = [
  ['vehicle', 'truck'],
  ['coldReference', '18 °C'],
  ['depotAltitude', '0 m'],
  ['show.pressure', 'kPa'],
  ['show.temperature', '°C'],
  ['show.position', 'exact'],
  ['tirePositions', '{}'],
  ['gauge', '{}'],
  ['signals', '[]'],
  ['mqtt', 'none'],
  ['mqtt.confirm', 'office'],
  ['mqtt.unencrypted', 'no'],
  ['store', 'none'],
  ['store.maxSize', '256 MB'],
  ['store.keep', '90 d'],
  ['recorder', 'none'],
  ['recorder.maxSize', '256 MB'],
  ['health', 'none'],
  ['clock.trust', 'no'],
];

/** Everything together; null when a section without which nothing can be said has findings. */
export function resolve(
  file: TruckFile,
  defaults: Defaults,
  findings: Finding[],
  notes: Finding[],
): TruckConfig | null {
  const buses = file.buses?.map((bus) => ({ ...bus, acknowledge: bus.acknowledge ?? false }));
  if (buses !== undefined) checkBuses(buses, findings);
  const units = file.layout === undefined ? undefined : unitsOf(file.layout, findings, notes);
  const rules = mergeRules(file.rules, defaults, findings);
  const mqtt = brokerOf(file.mqtt, findings, notes);
  if (units === undefined || buses === undefined) return null;
  const names = buses.map((bus) => bus.name);
  const tirePositions = positionsOf(file.tirePositions ?? {}, units, names, findings);
  const fixedGaugeSources = gaugesOf(file.gauge ?? {}, names, findings);
  const signals = signalsOf(file.signals ?? [], units, names, findings);
  if (file.fleet === undefined || file.truck === undefined) return null;
  const config: Omit<TruckConfig, 'hash'> = {
    fleet: file.fleet,
    truck: file.truck,
    vehicle: file.vehicle ?? 'truck',
    ...{ buses, units, tirePositions, fixedGaugeSources, signals, rules },
    coldReferenceC: file.coldReference ?? COLD_REFERENCE_C,
    depotAirKpa: standardAirKpa(file.depotAltitude ?? 0),
    ...{ mqtt, ...edgesOf(file) },
    marks: [],
  };
  return { ...config, hash: configHash(config) };
}

/** What decides nothing about events. */
function edgesOf({ show, store, recorder, health, clock }: TruckFile) {
  return {
    show: {
      pressure: show?.pressure ?? 'kPa',
      temperature: show?.temperature ?? '°C',
      position: show?.position ?? 'exact',
    },
    store:
      store === undefined
        ? null
        : { path: store.path, maxBytes: store.maxSize ?? STORE_BYTES, keepMs: (store.keep ?? KEEP_S) * 1000 },
    recorder: recorder === undefined ? null : { path: recorder.path, maxBytes: recorder.maxSize ?? RECORDER_BYTES },
    health: health === undefined ? null : { port: health.port },
    clock: { trust: clock?.trust ?? false },
  } satisfies Partial<TruckConfig>;
}

/** Air pressure at an altitude in the ISO 2533 standard atmosphere, kPa to three places (the same on every machine). */
export function standardAirKpa(altitudeM: number): number {
  return Math.round(101.325 * (1 - 2.25577e-5 * altitudeM) ** 5.25588 * 1000) / 1000;
}

function mergeRules(
  written: TruckFile['rules'],
  defaults: Defaults,
  findings: Finding[],
): Record<RuleName, RuleConfig> {
  const rules = {} as Record<RuleName, RuleConfig>;
  for (const name of RULE_NAMES)
    rules[name] = mergeRule(defaults[name], name, written?.[name] ?? {}, ['rules', name], findings);
  return rules;
}
