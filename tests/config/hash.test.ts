import { describe, expect, it } from 'vitest';
import { canonicalJson, configHash } from '../../config/hash.js';
import { readTruckFile } from '../../config/load.js';

const BASE = `fleet: northline
truck: T-1042
buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {name: steer, kind: steer, tires: single, coldPressure: 120 psi, chamber: {type: 20, ratedStroke: 2.25 in}}
      - {name: drive, kind: drive, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}
  trailer: {id: TR-77, axles: [{kind: trailer, tires: dual}]}
`;
const hash = (text: string): string => {
  const { config, problems } = readTruckFile(text, 'truck.yaml');
  if (config === undefined) throw new Error(problems[0]!.text);
  return config.hash;
};
const base = hash(BASE);

describe('configuration hash', () => {
  it('is eight hex digits, the same each time', () => {
    expect(base).toMatch(/^[0-9a-f]{8}$/);
    expect(hash(BASE)).toBe(base);
  });

  it('is that of earlier versions, but for the rules: it stands in recordings and events', () => {
    const { config } = readTruckFile(BASE, 'truck.yaml');
    expect(configHash({ ...config!, rules: {} as never })).toBe('32d8cbaa');
  });

  const SAME: [string, string][] = [
    ['comments and blank lines', `# a comment\n\n${BASE}`],
    ['the order of keys', BASE.replace('kind: steer, tires: single', 'tires: single, kind: steer')],
    ['quotes', BASE.replace('name: main', 'name: "main"')],
    ['defaults written out', `${BASE}coldReference: 18 °C\ndepotAltitude: 0 m\nvehicle: truck\nsignals: []\n`],
    ['a default limit written out', `${BASE}rules: {air-low: {levels: {pull-over: {raise: 414 kPa}}}}\n`],
    ['the same quantity in another unit', BASE.replace('2.5 in', '63.5 mm')],
    ['fleet and truck', BASE.replace('northline', 'southline').replace('T-1042', 'T-7')],
    ['the interface', BASE.replace('can0', 'vcan3')],
    ['names of axles', BASE.replace('name: steer', 'name: front')],
    ['units on the screen', `${BASE}show: {pressure: psi}\n`],
    [
      'broker, store and recorder',
      `${BASE}mqtt: {url: "mqtt://127.0.0.1"}\nstore: {path: a.db}\nrecorder: {path: r}\n`,
    ],
    [
      'credentials, health page and clock',
      `${BASE}mqtt: {url: "mqtts://h", user: cab, password: {env: A}, ca: b}\nhealth: {port: 9471}\nclock: {trust: yes}\n`,
    ],
    ['the text behind a limit', `${BASE}rules: {air-low: {levels: {pull-over: {basis: our own}}}}\n`],
  ];
  it.each(SAME)('does not depend on %s', (_what, text) => {
    expect(hash(text)).toBe(base);
  });

  const OTHER: [string, string][] = [
    ['a cold pressure', BASE.replace('100 psi', '101 psi')],
    ['a chamber', BASE.replace('type: 30', 'type: 24')],
    ['a rated stroke', BASE.replace('2.5 in', '3 in')],
    ['duals or singles', BASE.replace('tires: dual, cold', 'tires: single, cold')],
    ['the kind of an axle', BASE.replace('kind: drive', 'kind: tag')],
    ['the kind of vehicle', `${BASE}vehicle: bus\n`],
    ['the name of a bus', BASE.replace('name: main', 'name: first')],
    ['the trailer that is expected', BASE.replace('TR-77', 'TR-78')],
    ['a sender that numbers differently', `${BASE}tirePositions: {main/51: {"0x10": tractor/2/left/inner}}\n`],
    ['a fixed-gauge sender', `${BASE}gauge: {main/51: fixed}\n`],
    [
      'an extra signal',
      `${BASE}signals: [{pgn: 0xFF21, byte: 1, length: 8, scale: 1 mm, quantity: stroke, subject: tractor/2/left}]\n`,
    ],
    ['the cold reference', `${BASE}coldReference: 20 °C\n`],
    ['the altitude of the depot', `${BASE}depotAltitude: 100 m\n`],
    ['a limit', `${BASE}rules: {air-low: {levels: {pull-over: {raise: 413 kPa}}}}\n`],
    ['a delay', `${BASE}rules: {air-low: {levels: {pull-over: {raiseAfter: 3 s}}}}\n`],
    ['a count', `${BASE}rules: {brake-overstroke: {levels: {plan: {of: 1 of 2}}}}\n`],
    ['a constant', `${BASE}rules: {tire-losing-air: {constants: {gapS: 100 s}}}\n`],
    ['a rule that is off', `${BASE}rules: {air-low: {enabled: no}}\n`],
  ];
  it.each(OTHER)('depends on %s', (_what, text) => {
    expect(hash(text)).not.toBe(base);
  });

  it('all of these are different from each other', () => {
    expect(new Set(OTHER.map(([, text]) => hash(text))).size).toBe(OTHER.length);
  });
});

describe('canonical JSON', () => {
  it('sorts keys at every depth and nothing else', () => {
    expect(canonicalJson({ b: [3, 1, { d: null, c: 'x' }], a: true })).toBe('{"a":true,"b":[3,1,{"c":"x","d":null}]}');
  });

  it('is JSON of the same value', () => {
    const value = { z: 1.5, a: { y: [], x: {} }, 'ü"': 'é\n' };
    expect(JSON.parse(canonicalJson(value))).toEqual(value);
  });
});
