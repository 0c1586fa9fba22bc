import { spawnSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import type { Health } from '../../../adapters/host/health.js';
import { METRICS_TYPE, metricsText, samplesOf } from '../../../adapters/host/metrics.js';
import { METRICS } from '../../../adapters/host/metrics-table.js';
import { fullHealth } from '../../support/health.js';
import { readOpenMetrics } from '../../support/open-metrics.js';

/** Every number and every yes or no of the page, with its path. */
function* numbersIn(value: unknown, path = ''): Generator<[path: string, value: number]> {
  if (typeof value === 'number') yield [path, value];
  if (typeof value === 'boolean') yield [path, Number(value)];
  if (typeof value !== 'object' || value === null) return;
  for (const [key, one] of Object.entries(value)) yield* numbersIn(one, `${path}/${key}`);
}

describe('/metrics', () => {
  it('is OpenMetrics, as a strict reader of the specification has it', async () => {
    const text = await metricsText(fullHealth());
    const families = readOpenMetrics(text);
    expect(families.size).toBe(METRICS.length);
    expect([...families.keys()].filter((name) => !name.startsWith('axlepost_'))).toEqual([]);
    expect([...families.values()].filter(({ help }) => help === null)).toEqual([]);
    expect(METRICS_TYPE).toBe('application/openmetrics-text; version=1.0.0; charset=utf-8');
  });

  it('has every number of the page, in base units', async () => {
    const health = fullHealth();
    const families = readOpenMetrics(await metricsText(health));
    const told = [...families.values()].flatMap(({ samples }) => samples.map(({ value }) => value));
    const inSeconds = /Ms$/;
    for (const [path, value] of numbersIn(health)) {
      if (path === '/v') continue;
      expect(told, path).toContain(inSeconds.test(path) ? value / 1000 : value);
    }
  });

  it('every row of the table finds something on a full page', () => {
    const empty = METRICS.filter((row) => samplesOf(row, fullHealth()).length === 0);
    expect(empty.map(({ name }) => name)).toEqual([]);
  });

  it('says per bus, state and counter what it is', async () => {
    const families = readOpenMetrics(await metricsText(fullHealth()));
    expect(families.get('axlepost_bus_frames')!.samples).toEqual([
      { name: 'axlepost_bus_frames_total', labels: { bus: 'main' }, value: fullHealth().buses[0]!.frames },
      { name: 'axlepost_bus_frames_total', labels: { bus: 'trailer' }, value: fullHealth().buses[1]!.frames },
    ]);
    expect(families.get('axlepost_life')!.samples.map(({ labels, value }) => `${labels.state} ${value}`)).toEqual([
      'awake 0',
      'blind 0',
      'parked 1',
      'asleep 0',
    ]);
    expect(families.get('axlepost_bus_controller')!.samples.filter(({ value }) => value === 1)).toMatchObject([
      { labels: { bus: 'main', state: 'ERROR-WARNING' } },
    ]);
    expect(families.get('axlepost_bus_interface_counter')!.samples[1]!.labels).toEqual({
      bus: 'main',
      counter: 'rx_dropped',
    });
    expect(families.get('axlepost_build_info')!.samples[0]!.labels).toEqual({
      version: '0.1.0',
      config: '9c1e44d0',
      fleet: 'northline',
      truck: 'T-1042',
    });
  });

  it('leaves out what is not known, which is not 0', async () => {
    const health: Health = { ...fullHealth(), broker: null, recorder: null };
    health.store.stats = null;
    health.clock.contradictedByBusS = null;
    const names = [...readOpenMetrics(await metricsText(health)).keys()];
    expect(names.filter((name) => /broker|recorder|outbox|bus_ahead/.test(name))).toEqual([]);
    expect(names).toContain('axlepost_store_pending_commits');
  });

  it('counts anew for each reader', async () => {
    const text = await metricsText(fullHealth());
    expect(await metricsText(fullHealth())).toBe(text);
  });
});

describe('the strict reader', () => {
  const good = '# HELP a A.\n# TYPE a counter\na_total{x="1"} 2\n# EOF\n';

  it('takes what is right', () => {
    expect(readOpenMetrics(good).get('a')).toEqual({
      type: 'counter',
      help: 'A.',
      samples: [{ name: 'a_total', labels: { x: '1' }, value: 2 }],
    });
  });

  it.each([
    ['no end', good.replace('# EOF\n', '')],
    ['a counter without _total', good.replace('a_total', 'a')],
    ['a value that is none', good.replace(' 2', ' Nan ')],
    ['a line that is empty', good.replace('# EOF', '\n# EOF')],
    ['a sample twice', good.replace('# EOF', 'a_total{x="1"} 3\n# EOF')],
    ['a family in two pieces', good.replace('# EOF', '# TYPE b gauge\nb 1\n# TYPE a counter\n# EOF')],
    ['a quote that is not closed', good.replace('"1"', '"1')],
    ['a negative count', good.replace(' 2', ' -2')],
  ])('refuses %s', (_what, text) => {
    expect(() => readOpenMetrics(text)).toThrow();
  });
});

/* The reader that most collectors' tools are built on (apt install python3-prometheus-client). */
const PYTHON = '/usr/bin/python3';
const missing = spawnSync(PYTHON, ['-c', 'import prometheus_client']).status !== 0;
const required = process.env.CI === 'true';
if (missing && !required) console.warn('skipped: python3-prometheus-client is not installed; CI needs it');

const READER = `
import json, sys
from prometheus_client.openmetrics.parser import text_string_to_metric_families as families
print(json.dumps([[s.name, s.labels, s.value] for f in families(sys.stdin.read()) for s in f.samples]))
`;

describe.skipIf(missing && !required)(
  `prometheus-client${missing ? ' (skipped: not installed; CI needs it)' : ''}`,
  () => {
    it('reads the same samples', async () => {
      const input = await metricsText(fullHealth());
      const { stdout, stderr } = spawnSync(PYTHON, ['-c', READER], { input, encoding: 'utf8' });
      expect(stderr).toBe('');
      const ours = [...readOpenMetrics(input).values()].flatMap(({ samples }) =>
        samples.map(({ name, labels, value }) => [name, labels, value]),
      );
      expect(JSON.parse(stdout)).toEqual(ours);
    });
  },
);
