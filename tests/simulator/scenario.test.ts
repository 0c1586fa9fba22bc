import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { Route } from '../../simulator/route.js';
import { parseScenario, ScenarioError } from '../../simulator/scenario.js';
import { faultLines } from '../../simulator/truth.js';

const text = readFileSync('simulator/shifts/morning-run.yaml', 'utf8');

function complaint(from: string, to: string): string {
  expect(text).toContain(from);
  try {
    parseScenario(text.replace(from, to), 'shift.yaml');
  } catch (error) {
    expect(error).toBeInstanceOf(ScenarioError);
    return (error as Error).message;
  }
  throw new Error('the scenario was accepted');
}

describe('the demonstration scenario', () => {
  const scenario = parseScenario(text, 'morning-run.yaml');

  it('is read: three hours, ten wheel ends, five kinds of fault and the codes', () => {
    expect(scenario.durationS).toBe(3 * 3600 + 60);
    expect(scenario.truck.units.map((unit) => unit.axles.length)).toEqual([3, 2]);
    expect(new Set(scenario.faults.map((fault) => fault.kind)).size).toBe(6);
  });

  it('has a vehicle number that no real vehicle may have: the letters I, O and Q are not used', () => {
    expect(scenario.truck.vin).toMatch(/[IOQ]/);
  });

  it('tells the truth in order of time, every leak phase ending where the next begins', () => {
    const truth = faultLines(scenario);
    expect([...truth].sort((a, b) => a.from - b.from)).toEqual(truth);
    const leaks = truth.filter((line) => line.fault === 'tire-leak');
    expect(leaks.map((line) => line.kpaPerMin)).toEqual([1.2, 5, 28]);
    expect(leaks[0]!.to).toBe(leaks[1]!.from);
    expect(leaks[1]!.to).toBe(leaks[2]!.from);
  });
});

const CHARGING_LINE = text.split('\n').findIndex((line) => line.includes('until: "0:07:00"')) + 1;

describe('a wrong scenario gets one line with the file and the line', () => {
  it.each([
    ['no YAML', 'title: Yard', 'title: "Yard', /^shift\.yaml: /],
    ['an unknown key', 'seed:', 'sead:', /^shift\.yaml:\d+: .*sead/],
    [
      'a time of no such form',
      'until: "0:07:00"',
      'until: "7 min"',
      new RegExp(`^shift\\.yaml:${CHARGING_LINE}: drive\\.2\\.until: .*h:mm:ss`),
    ],
    ['a leg that ends too early', 'until: "0:13:00"', 'until: "0:06:00"', /^shift\.yaml:\d+: drive: .*"yard"/],
    ['a tire that is not there', 'tire: tractor/2/left/outer', 'tire: tractor/9/left/outer', /no tire "tractor\/9/],
    ['a brake that is not there', 'trailer/1/right', 'trailer/1/middle', /no wheel end "trailer\/1\/middle"/],
    ['a fault without a span', 'from: "0:50:00", to: "1:40:00"', 'from: "1:50:00", to: "1:40:00"', /ends before/],
  ])('%s', (_, from, to, pattern) => {
    const message = complaint(from, to);
    expect(message).toMatch(pattern);
    expect(message).not.toContain('\n');
  });
});

describe('a route', () => {
  it('measures a degree of latitude as 111.2 km and one of longitude at 60° as half of that', () => {
    expect(
      new Route([
        [47, -98],
        [48, -98],
      ]).lengthM / 1000,
    ).toBeCloseTo(111.2, 1);
    expect(
      new Route([
        [60, -98],
        [60, -97],
      ]).lengthM / 1000,
    ).toBeCloseTo(55.6, 1);
  });

  it('stays at the last corner when it is driven out', () => {
    const route = new Route([
      [47, -98],
      [47, -99],
      [48, -99],
    ]);
    expect(route.at(0)).toEqual([47, -98]);
    expect(route.at(1e9)).toEqual([48, -99]);
    const [lat, lon] = route.at(route.lengthM / 2);
    expect(lat).toBeGreaterThan(47);
    expect(lon).toBe(-99);
  });
});
