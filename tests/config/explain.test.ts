import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { explain } from '../../config/explain.js';
import { loadDefaults, loadTruckFile, readTruckFile } from '../../config/load.js';
import { DEFAULT_TEXTS } from '../../config/resolve.js';
import { SECTIONS } from '../../config/schema.js';

const TRUCK = `
fleet: northline
truck: T-7
buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {name: steer, kind: steer, tires: single, coldPressure: 120 psi}
rules:
  tire-underinflated: {levels: {plan: {raise: 88 %, clear: 92 %}}}
  duals-unequal: {enabled: no}
`;

function lines(): string[] {
  const { config, origins } = readTruckFile(TRUCK, 'T-7.yaml');
  if (config === undefined) throw new Error('the truck file of this test is wrong');
  return explain(config, origins, loadDefaults());
}

describe('what check --explain tells', () => {
  it('says which limit the truck file changed, and which it did not', () => {
    expect(lines()).toContain('  plan: raise 88 %, clear 92 % [T-7.yaml:10], after 600 s, clear after 600 s [default]');
    expect(lines()).toContain('  next-stop: raise 80 %, clear 84 %, after 120 s, clear after 120 s [default]');
  });

  it('names the authority below each limit', () => {
    const all = lines();
    const at = all.findIndex((line) => line.startsWith('air-low'));
    expect(all[at + 1]).toMatch(/^ {2}pull-over: raise 414 kPa, clear 448 kPa/);
    expect(all[at + 2]).toContain('49 CFR 571.121 S5.1.5');
  });

  it('tells rules that are off and rules that this version does not judge', () => {
    expect(lines()).toContain('duals-unequal: off [T-7.yaml:11]');
    expect(lines()).toContain('test-message: not judged by this version');
  });
});

const EXAMPLE = fileURLToPath(new URL('../../config/examples/northline/trucks/', import.meta.url));

function explained(name: string): string[] {
  const { config, origins } = loadTruckFile(`${EXAMPLE}${name}`);
  if (config === undefined) throw new Error(`${name} is wrong`);
  return explain(config, origins, loadDefaults());
}

describe('where each value of a layered truck file comes from', () => {
  it('is a file and a line', () => {
    const lines = explained('T-1042.yaml').map((line) => line.replaceAll(/\[\S*\/northline\//g, '['));
    for (const line of [
      'fleet: northline [fleet.yaml:5]',
      'truck: T-1042 [trucks/T-1042.yaml:6]',
      'buses 1: {name: main, interface: can0} [types/6x4.yaml:6]',
      'buses 1.acknowledge: no [default]',
      'layout.trailer.id: TR-77 [trucks/T-1042.yaml:7]',
      'mqtt.password.env: AXLEPOST_PASSWORD [fleet.yaml:14]',
      'mqtt.confirm: office [default]',
      'health.port: 9471 [fleet.yaml:19]',
      'clock.trust: no [default]',
      '  plan: raise 88 %, clear 92 % [trucks/T-1042.yaml:12], after 600 s, clear after 600 s [default]',
    ]) {
      expect(lines).toContain(line);
    }
  });

  it('names what was taken out, by whom', () => {
    expect(explained('T-208.yaml').find((line) => line.startsWith('recorder'))).toMatch(
      /^recorder: none \[.*T-208\.yaml:\d+\]$/,
    );
    expect(explained('T-208.yaml').join('\n')).not.toContain('recorder.maxSize');
  });

  it('names the file that changed the authority behind a limit', () => {
    const lines = explained('B-31.yaml');
    const at = lines.findIndex((line) => line.startsWith('air-low'));
    expect(lines[at + 2]).toMatch(/large buses warn at 80 to 85 psi \[.*coach\.yaml:20\]$/);
  });

  // A second look, that knows nothing of the loader: the line that is named has the key and the value.
  it.each(['T-1042.yaml', 'T-208.yaml', 'B-31.yaml'])('%s: the line is there, and says it', (name) => {
    const traced = explained(name).flatMap((line) => {
      const match = /^([A-Za-z][\w./ -]*?): (.*) \[(\S+):(\d+)\]$/.exec(line);
      return match === null ? [] : [match.slice(1) as [string, string, string, string]];
    });
    expect(traced.length).toBeGreaterThan(20);
    for (const [path, value, file, line] of traced) {
      const there = readFileSync(file, 'utf8').split('\n')[Number(line) - 1]!;
      const words = value.startsWith('{') ? (value.match(/[^{}:, ]+/g) ?? []) : [value];
      for (const word of words) expect(there, `${path} of ${file}:${line}`).toContain(word);
    }
  });

  it('every section is there', () => {
    const { from: _, rules: __, ...sections } = SECTIONS;
    const names = new Set(lines().map((line) => /^\w+/.exec(line)?.[0]));
    expect(Object.keys(sections).filter((name) => !names.has(name))).toEqual([]);
    expect(lines()).toContain('mqtt: none [default]');
  });
});

describe('defaults as they are explained', () => {
  it('are those that hold', () => {
    const nested = new Map<string, string[]>();
    for (const [path, text] of DEFAULT_TEXTS) {
      const [section, key] = path.split('.') as [string, string?];
      const quoted = text.startsWith('[') || text.startsWith('{') ? text : JSON.stringify(text);
      if (key !== undefined) nested.set(section, [...(nested.get(section) ?? []), `${key}: ${quoted}`]);
      else if (text !== 'none') nested.set(section, [quoted]);
    }
    const needed: Record<string, string> = { mqtt: 'url: "mqtts://h"', store: 'path: a', recorder: 'path: b' };
    const bare = Object.entries(needed).map(([section, entry]) => `${section}: {${entry}}\n`);
    const full = [...nested].map(([section, entries]) => {
      const [only] = entries;
      const all = needed[section] === undefined ? entries : [needed[section], ...entries];
      return entries.length === 1 && !only!.includes(': ')
        ? `${section}: ${only}\n`
        : `${section}: {${all.join(', ')}}\n`;
    });
    const left = readTruckFile(`${TRUCK}${bare.join('')}`, 'T-7.yaml').config;
    const written = readTruckFile(`${TRUCK}${full.join('')}`, 'T-7.yaml');
    expect(written.problems).toBeUndefined();
    expect(written.config).toEqual(left);
    const { config } = readTruckFile(TRUCK, 'T-7.yaml');
    const none = DEFAULT_TEXTS.filter(([, text]) => text === 'none').map(([path]) => path as 'mqtt');
    expect(none.map((section) => config![section])).toEqual(none.map(() => null));
  });
});
