import { Counter, Gauge, type OpenMetricsContentType, Registry } from 'prom-client';
import type { Health } from './health.js';
import { METRICS, type MetricRow } from './metrics-table.js';

export const METRICS_TYPE = Registry.OPENMETRICS_CONTENT_TYPE;

type Labels = Record<string, string>;
interface Sample {
  labels: Labels;
  value: number;
}

/** The health page as OpenMetrics text. Made anew for each reader: what is not known is left out, never 0. */
export function metricsText(health: Health): Promise<string> {
  const registry = new Registry<OpenMetricsContentType>();
  registry.setContentType(METRICS_TYPE);
  for (const row of METRICS) {
    const samples = samplesOf(row, health);
    if (samples.length > 0) register(registry, row, samples);
  }
  return registry.metrics();
}

function register(
  registry: Registry<OpenMetricsContentType>,
  { kind, name, help }: MetricRow,
  samples: Sample[],
): void {
  const settings = {
    name: `axlepost_${name}`,
    help,
    labelNames: Object.keys(samples[0]!.labels),
    registers: [registry],
  };
  if (kind === 'counter') {
    const counter = new Counter(settings);
    for (const { labels, value } of samples) counter.inc(labels, value);
  } else {
    const gauge = new Gauge(settings);
    for (const { labels, value } of samples) gauge.set(labels, value);
  }
}

/** Exported for tests: what a row of the table finds. */
export function samplesOf({ path, states, info, per = 1 }: MetricRow, health: Health): Sample[] {
  return at(health, path.split('.'), {}).flatMap(({ value, labels }): Sample[] => {
    if (states !== undefined) {
      if (value === null) return [];
      return states.map((state) => ({ labels: { ...labels, state }, value: value === state ? 1 : 0 }));
    }
    if (info !== undefined) {
      const of = value as Record<string, unknown>;
      return [{ labels: { ...labels, ...Object.fromEntries(info.map((key) => [key, String(of[key])])) }, value: 1 }];
    }
    const n = typeof value === 'number' ? value / per : typeof value === 'boolean' ? Number(value) : Number.NaN;
    return Number.isFinite(n) ? [{ labels, value: n }] : [];
  });
}

/** Everything at a path. `buses[]` is each bus, under its name; `*` each number of a dictionary, under its key. */
function at(value: unknown, path: readonly string[], labels: Labels): { value: unknown; labels: Labels }[] {
  const [key, ...rest] = path;
  if (key === undefined || key === '') return [{ value, labels }];
  if (value === null || typeof value !== 'object') return [];
  if (key === '*') {
    return Object.entries(value).flatMap(([name, one]) => at(one, rest, { ...labels, counter: name }));
  }
  if (!key.endsWith('[]')) return at((value as Record<string, unknown>)[key], rest, labels);
  const list = (value as Record<string, { name: string }[]>)[key.slice(0, -2)]!;
  return list.flatMap((one) => at(one, rest, { ...labels, bus: one.name }));
}
