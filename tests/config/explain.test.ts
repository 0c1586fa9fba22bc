import { describe, expect, it } from 'vitest';
import { explain } from '../../config/explain.js';
import { loadDefaults, readTruckFile } from '../../config/load.js';

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
    expect(lines()).toContain('air-leaking: not judged by this version');
  });
});
