import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { loadTruckFile, readTruckFile, standardAirKpa } from '../../config/load.js';
import { formatProblem, type Problem } from '../../config/problems.js';
import type { TruckConfig } from '../../config/resolved.js';
import fc from '../support/property.js';

const EXAMPLES = new URL('../../config/examples/', import.meta.url);
const example = (name: string) => loadTruckFile(new URL(name, EXAMPLES).pathname);

const HEAD = 'fleet: northline\ntruck: T-1042\nbuses: [{name: main, interface: can0}]\n';
const LAYOUT = `layout:
  tractor:
    axles:
      - {kind: steer, tires: single, coldPressure: 120 psi, chamber: {type: 20, ratedStroke: 2.25 in}}
      - {kind: drive, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}
`;

function good(text: string): TruckConfig {
  const { config, problems } = readTruckFile(text, 'truck.yaml');
  if (config === undefined) throw new Error(problems.map(formatProblem).join('\n'));
  return config;
}
function bad(text: string): Problem[] {
  const { problems } = readTruckFile(text, 'truck.yaml');
  if (problems === undefined) throw new Error('no problem was found');
  return problems;
}
/** The lines as a person sees them. */
const lines = (text: string): string[] => bad(text).map(formatProblem);

describe('the example of a five-axle combination', () => {
  const { config, notes } = example('T-1042.yaml');

  it('is good, without notes', () => {
    expect(config?.truck).toBe('T-1042');
    expect(notes).toEqual([]);
  });

  it('has SI values throughout', () => {
    const [steer, drive] = config!.units[0]!.axles;
    expect(steer).toEqual({
      name: 'steer',
      kind: 'steer',
      tires: 'single',
      coldPressureKpa: expect.closeTo(827.37, 2),
      chamber: { type: '20', ratedStrokeMm: expect.closeTo(57.15, 9) },
    });
    expect(drive!.coldPressureKpa).toBeCloseTo(689.4757, 9);
    expect(config!.coldReferenceC).toBe(18);
    expect(config!.depotAirKpa).toBe(101.325);
    expect(config!.store).toEqual({ path: 'axlepost.db', maxBytes: 256e6, keepMs: 90 * 86_400_000 });
    expect(config!.recorder).toEqual({ path: 'recordings', maxBytes: 256e6 });
    expect(config!.show).toEqual({ pressure: 'psi', temperature: '°F', position: 'exact' });
    expect(config!.units.map((u) => [u.unit, u.id, u.axles.length])).toEqual([
      ['tractor', null, 3],
      ['trailer', 'TR-77', 2],
    ]);
  });

  it('changes just the level that it names, and says who stands behind it', () => {
    const { plan, 'next-stop': nextStop } = config!.rules['tire-underinflated'].criteria;
    expect(plan).toMatchObject({ urgency: 'plan', raise: 0.88, clear: 0.92, raiseAfterS: 600, clearAfterS: 600 });
    expect(plan!.basis).toMatch(/^truck file \(default 90 %: /);
    expect(nextStop).toMatchObject({ raise: 0.8, clear: 0.84 });
    expect(nextStop!.basis).toContain('1910.177');
  });
});

describe('the other examples', () => {
  it('straight truck: extra stroke signals, altitude', () => {
    const { config, notes } = example('T-208.yaml');
    expect(notes).toEqual([]);
    expect(config!.signals[1]).toEqual({
      bus: 'body',
      pgn: 0xff21,
      source: 144,
      byte: 2,
      bit: 1,
      length: 8,
      scale: 0.5,
      offset: 0,
      quantity: 'stroke',
      subject: 'tractor/2/right',
    });
    expect(config!.depotAirKpa).toBeCloseTo(83.5, 1);
    expect(config!.mqtt).toBeNull();
    expect(config!.units[0]!.axles[2]!.chamber).toEqual({ type: '16', ratedStrokeMm: null });
  });

  it('bus: a fixed-gauge sender, limits of its own', () => {
    const { config, notes } = example('B-31.yaml');
    expect(notes).toEqual([]);
    expect(config!.vehicle).toBe('bus');
    expect(config!.fixedGaugeSources).toEqual([{ bus: 'main', source: 51 }]);
    expect(config!.rules['air-low'].criteria['pull-over']).toMatchObject({
      raise: expect.closeTo(551.58, 2),
      basis: 'driver manuals: large buses warn at 80 to 85 psi',
    });
  });
});

describe('what may be left out', () => {
  const config = good(HEAD + LAYOUT);

  it('everything but fleet, truck, buses and layout', () => {
    expect(config).toMatchObject({
      vehicle: 'truck',
      tirePositions: [],
      fixedGaugeSources: [],
      signals: [],
      coldReferenceC: 18,
      depotAirKpa: 101.325,
      show: { pressure: 'kPa', temperature: '°C', position: 'exact' },
      mqtt: null,
      store: null,
      recorder: null,
    });
    expect(config.buses).toEqual([{ name: 'main', interface: 'can0', acknowledge: false }]);
    expect(config.units[0]!.axles[1]!.name).toBe('tractor 2');
    expect(config.rules['tire-hot'].enabled).toBe(true);
    expect(config.rules['test-message'].enabled).toBe(false);
  });

  it('a missing cold pressure is noted, not refused', () => {
    const { notes } = readTruckFile(`${HEAD}layout: {tractor: {axles: [{kind: steer, tires: single}]}}`, 'truck.yaml');
    expect(notes).toHaveLength(1);
    expect(notes![0]).toMatchObject({ line: 4, text: expect.stringContaining('coldPressure') });
  });

  it('an unknown chamber is noted, not refused', () => {
    const { config, notes } = readTruckFile(HEAD + LAYOUT.replace('type: 30', 'type: 30L'), 'truck.yaml');
    expect(config).toBeDefined();
    expect(notes!.map(formatProblem)).toEqual([
      expect.stringMatching(/^truck\.yaml:8:\d+: chamber type "30L".* — write "type: 30"/),
    ]);
  });
});

describe('kept as written', () => {
  it('names that look like numbers keep their zeros', () => {
    expect(good(HEAD.replace('T-1042', '0042') + LAYOUT).truck).toBe('0042');
  });

  it('units stand in the order of the file, a dolly before its trailer', () => {
    const text = `${HEAD}${LAYOUT}  dolly: {axles: [{kind: trailer, tires: dual}]}\n  trailer: {axles: [{kind: trailer, tires: dual}]}\n`;
    expect(good(text).units.map((u) => u.unit)).toEqual(['tractor', 'dolly', 'trailer']);
  });

  it('location bytes, quoted or not', () => {
    const text = `${HEAD}${LAYOUT}tirePositions: {main/51: {"0x10": tractor/2/left/inner, 0x11: tractor/2/left/outer}}\n`;
    expect(good(text).tirePositions).toEqual([
      { bus: 'main', source: 51, tires: { 16: 'tractor/2/left/inner', 17: 'tractor/2/left/outer' } },
    ]);
  });

  it('yes and no, anchors, CRLF, a byte order mark', () => {
    const text = `${HEAD}${LAYOUT}`.replace('can0', 'can0, acknowledge: yes').replaceAll('\n', '\r\n');
    expect(good(`\uFEFF${text}`).buses[0]!.acknowledge).toBe(true);
    const anchored = `${HEAD}layout: {tractor: {axles: [&a {kind: steer, tires: single, coldPressure: 8 bar}, *a]}}`;
    expect(good(anchored).units[0]!.axles).toHaveLength(2);
  });

  it('a temperature signal in °F comes out in °C', () => {
    const signal =
      'pgn: 0xFF21, byte: 3, length: 8, quantity: temperature, subject: tractor/2/left, scale: 9 °F, offset: -40 °F';
    const [read] = good(`${HEAD}${LAYOUT}signals: [{${signal}}]`).signals;
    expect(read).toMatchObject({ scale: 5, offset: -40, bus: null, source: null });
  });
});

/** Change of a good file → the line that a person reads. Each: file, line, column, what is wrong, what to write instead. */
const RULES = (text: string) => `${HEAD}${LAYOUT}rules:\n  ${text}\n`;
const MORE = (text: string) => `${HEAD}${LAYOUT}${text}\n`;
const ONE: [what: string, text: string, line: string][] = [
  [
    'a missing entry',
    HEAD.replace('truck: T-1042\n', '') + LAYOUT,
    '1:1: "truck" is missing — add for example `truck: T-1042`',
  ],
  ['an unknown key', MORE('coldReferense: 18 °C'), '9:1: unknown key "coldReferense" — did you mean coldReference?'],
  [
    'an unknown key deep inside',
    HEAD + LAYOUT.replace('coldPressure: 120', 'coldPresure: 120'),
    '7:38: unknown key "coldPresure" — did you mean coldPressure?',
  ],
  [
    'an unknown key like none',
    MORE('show: {colour: red}'),
    '9:8: unknown key "colour" — known here: pressure, temperature, position',
  ],
  [
    'a number without unit',
    HEAD + LAYOUT.replace('120 psi', '120'),
    '7:52: coldPressure: "120" has no unit — write "120 psi"; accepted: kPa, psi or bar',
  ],
  [
    'a wrong unit',
    MORE('coldReference: 18 psi'),
    '9:16: coldReference: "psi" in "18 psi" is not a unit of a temperature — write "18 °C"; accepted: °C or °F',
  ],
  [
    'a value in a unit that makes no sense',
    HEAD + LAYOUT.replace('120 psi', '120 kPa'),
    '7:52: coldPressure: "120 kPa" is out of range — possible: 200 kPa to 1400 kPa; did you mean "120 psi"?',
  ],
  [
    'a decimal comma inside braces',
    HEAD + LAYOUT.replace('2.25 in', '63,5 mm'),
    '7:94: ratedStroke: "63" has no unit — write "63 mm"; accepted: mm, in or cm',
  ],
  [
    'a bad name',
    HEAD.replace('northline', 'north/line') + LAYOUT,
    '1:8: fleet: "north/line" is not a name: letters A to Z, digits, "_" and "-", 1 to 32 of them — write for example north-line',
  ],
  ['an empty name', HEAD.replace('northline', '') + LAYOUT, '1:8: fleet: nothing is written here — give it a name'],
  [
    'a missing axle',
    MORE('tirePositions: {main/51: {"0x20": tractor/3/left/outer}}'),
    '9:35: the layout has no tire "tractor/3/left/outer" — the tractor has 2 axles: add axle 3 to layout, or write 1 to 2',
  ],
  [
    'a missing unit',
    MORE('tirePositions: {main/51: {"0x20": trailer/1/left/outer}}'),
    '9:35: the layout has no tire "trailer/1/left/outer" — units: tractor',
  ],
  [
    'a tire that the axle does not have',
    MORE('tirePositions: {main/51: {"0x00": tractor/1/left/outer}}'),
    '9:35: the layout has no tire "tractor/1/left/outer" — that axle has tractor/1/left/single',
  ],
  [
    'a duplicate position',
    MORE('tirePositions: {main/51: {"0x10": tractor/2/left/outer, "0x11": tractor/2/left/outer}}'),
    '9:65: tractor/2/left/outer already has location 0x10 — give each tire one location per sender',
  ],
  [
    'a location twice, written differently',
    MORE('tirePositions: {main/51: {"0x1a": tractor/2/left/outer, "0x1A": tractor/2/left/inner}}'),
    '9:57: location 0x1A is there twice — keep one of the two',
  ],
  [
    'a location in decimal',
    MORE('tirePositions: {main/51: {16: tractor/2/left/outer}}'),
    '9:27: "16" is not a location byte — write two hexadecimal digits, axle then position: "0x10"',
  ],
  [
    'a sender on a bus that is not there',
    MORE('tirePositions: {mian/51: {}}'),
    '9:17: no bus is called "mian" — did you mean main?',
  ],
  [
    'a sender without a bus',
    MORE('tirePositions: {51: {}}'),
    '9:17: "51" is not a sender — write bus name, slash, source address in decimal, for example "main/51"',
  ],
  [
    'an address that is none',
    MORE('gauge: {main/254: fixed}'),
    '9:9: 254 is not a source address — write the address in decimal, 0 to 253',
  ],
  [
    'two buses of one name',
    HEAD.replace('can0}', 'can0}, {name: main, interface: can1}') + LAYOUT,
    '3:47: name "main" is already that of bus 1 — give each bus its own name',
  ],
  [
    'two buses on one interface',
    HEAD.replace('can0}', 'can0}, {name: body, interface: can0}') + LAYOUT,
    '3:64: interface "can0" is already that of bus 1 — give each bus its own interface',
  ],
  [
    'no bus',
    HEAD.replace('[{name: main, interface: can0}]', '[]') + LAYOUT,
    '3:8: "buses" is empty — write for example `buses: [{name: main, interface: can0}]`',
  ],
  [
    'a map where a list belongs',
    HEAD.replace('[{name: main, interface: can0}]', 'can0') + LAYOUT,
    '3:8: "buses" should be a list — write for example `buses: [{name: main, interface: can0}]`',
  ],
  [
    'a trailer before the tractor',
    `${HEAD}layout:\n  trailer: {axles: [{kind: trailer, tires: dual}]}\n  tractor: {axles: [{kind: steer, tires: single}]}`,
    '5:3: "trailer" stands before the tractor — list the units front to rear, the tractor first',
  ],
  [
    'a second trailer without a first',
    MORE('  trailer-2: {axles: [{kind: trailer, tires: dual}]}'),
    '9:3: "trailer-2" follows no "trailer" — call the first trailer "trailer" and list it before',
  ],
  [
    'an axle of an unknown kind',
    HEAD + LAYOUT.replace('kind: steer', 'kind: steering'),
    '7:16: kind: "steering" is not possible here — did you mean steer? (steer, drive, lift, tag, trailer)',
  ],
  ['an unknown rule', RULES('air-lov: {}'), '10:3: unknown rule "air-lov" — did you mean air-low?'],
  [
    'a rule that is not judged yet',
    RULES('test-message: {enabled: yes}'),
    '10:27: this version does not judge test-message yet — leave it out',
  ],
  [
    'an unknown level',
    RULES('air-low: {levels: {plan: {raise: 500 kPa}}}'),
    '10:22: air-low has no "plan" under levels — it has: pull-over',
  ],
  [
    'another way under levels',
    RULES('tire-hot: {levels: {above-peers: {raise: 25 Δ°C}}}'),
    '10:23: tire-hot has no "above-peers" under levels — it has: next-stop, pull-over',
  ],
  [
    'a limit of another kind',
    RULES('air-low: {levels: {pull-over: {raise: 60 %}}}'),
    '10:41: "%" in "60 %" is not a unit of a pressure — write "60 kPa"; accepted: kPa, psi or bar',
  ],
  [
    'clear below a low limit',
    RULES('air-low: {levels: {pull-over: {raise: 450 kPa}}}'),
    '10:41: clear 448 kPa lies below raise 450 kPa — write a clear value above 450 kPa, for example "clear: 484 kPa"',
  ],
  [
    'clear above a high limit',
    RULES('tire-hot: {levels: {next-stop: {clear: 115 °C}}}'),
    '10:42: clear 115 °C lies above raise 110 °C — write a clear value below 110 °C, for example "clear: 100 °C"',
  ],
  [
    'clear at the limit',
    RULES('tire-hot: {levels: {next-stop: {clear: 110 °C}}}'),
    '10:42: clear 110 °C lies at raise 110 °C — write a clear value below 110 °C, for example "clear: 100 °C"',
  ],
  [
    'levels in the wrong order',
    RULES('tire-hot: {levels: {next-stop: {raise: 125 °C}}}'),
    '10:42: pull-over at 120 °C comes before next-stop at 125 °C — change both, or this one less',
  ],
  [
    'a limit where a state is judged',
    RULES('stop-lamp: {levels: {pull-over: {raise: 3 s}}}'),
    '10:36: "pull-over" has no raise value — change how long or how often it must hold',
  ],
  [
    'a count where time is judged',
    RULES('air-low: {levels: {pull-over: {of: 2 of 3}}}'),
    '10:34: this level goes by time, not by count — write raiseAfter, for example "raiseAfter: 60 s"',
  ],
  [
    'time where a count is judged',
    RULES('brake-overstroke: {levels: {plan: {raiseAfter: 60 s}}}'),
    '10:38: this level goes by count, not by time — write of, for example "of: 2 of 3"',
  ],
  [
    'an impossible count',
    RULES('brake-overstroke: {levels: {plan: {of: 4 of 3}}}'),
    '10:42: "4 of 3" is not a count of the last ones — write for example "2 of 3" (at most 20)',
  ],
  [
    'an unknown constant',
    RULES('tire-losing-air: {constants: {gap: 100 s}}'),
    '10:33: tire-losing-air has no constant "gap" — did you mean gapS?',
  ],
  [
    'a constant without unit',
    RULES('tire-losing-air: {constants: {gapS: 100}}'),
    '10:39: "100" has no unit — write "100 s"; accepted: s, ms, min, d or h',
  ],
  [
    'a broker without scheme',
    MORE('mqtt: {url: "127.0.0.1:1883"}'),
    '9:13: this is not the address of a broker — write for example `url: "mqtt://127.0.0.1:1883"` (mqtt, mqtts, ws or wss)',
  ],
  [
    'a section left empty',
    MORE('recorder:'),
    '9:10: "recorder" should be a map of keys — write for example `recorder: {path: recordings}`',
  ],
  [
    'a size without unit',
    MORE('store: {path: a.db, maxSize: 256}'),
    '9:30: maxSize: "256" has no unit — write "256 MB"; accepted: MB, kB, GB, kiB, MiB or GiB',
  ],
  [
    'yes or no',
    HEAD.replace('can0', 'can0, acknowledge: maybe') + LAYOUT,
    '3:52: acknowledge: "maybe" is neither yes nor no — write yes or no',
  ],
  [
    'a signal at a subject that is not there',
    MORE('signals: [{pgn: 0xFF21, byte: 1, length: 8, scale: 1 mm, quantity: stroke, subject: tractor/2/left/outer}]'),
    '9:85: "tractor/2/left/outer" has no stroke here — did you mean tractor/2/left?',
  ],
  [
    'a signal without unit',
    MORE('signals: [{pgn: 0xFF21, byte: 1, length: 8, scale: 1, quantity: stroke, subject: tractor/2/left}]'),
    '9:52: "1" has no unit — write "1 mm"; accepted: mm, in or cm',
  ],
  [
    'a signal of a group that cannot be',
    MORE('signals: [{pgn: 0xEF12, byte: 1, length: 8, scale: 1 mm, quantity: stroke, subject: tractor/2/left}]'),
    '9:17: 61202 is no group number: below PDU format 240 the low byte is 0 — write 61184',
  ],
  [
    'a temperature without its offset',
    MORE('signals: [{pgn: 0xFF21, byte: 1, length: 8, scale: 1 °C, quantity: temperature, subject: tractor/2/left}]'),
    '9:52: a temperature needs an offset — add for example "offset: -40 °C"',
  ],
  ['a key twice', MORE('fleet: southline'), '9:1: YAML: map keys must be unique — keep one of the two'],
  ['a tab', MORE('\tshow: {}'), '9:1: YAML: tabs are not allowed as indentation — indent with spaces, not with tabs'],
  [
    'a name that every object has',
    RULES('air-low: {constants: {toString: 3 s}, levels: {constructor: {}}}'),
    '10:25: air-low has no constant "toString" — it has: chargedKpa, chargingS',
  ],
  [
    'a key that every object has',
    MORE('__proto__: {}'),
    '9:1: unknown key "__proto__" — known here: from, fleet, truck, vehicle, buses, layout, tirePositions, gauge, signals, coldReference, depotAltitude, show, rules, mqtt, store, recorder, health, clock',
  ],
  ['plain text', 'hello there\n', '1:1: this is not a truck file — it begins for example with `fleet: northline`'],
  ['an empty file', '', '1:1: the file is empty — it begins for example with `fleet: northline`'],
  ['only comments', '# nothing\n', '1:1: this is not a truck file — it begins for example with `fleet: northline`'],
];

describe('bad truck files: file, line, column, what to write instead', () => {
  it.each(ONE)('%s', (_what, text, line) => {
    expect(lines(text)[0]).toBe(`truck.yaml:${line}`);
  });

  it('YAML that does not parse points at the place', () => {
    const [first] = bad(`${HEAD}layout: {tractor: {axles: [{kind: steer, tires: single]}}\n`);
    expect(first).toMatchObject({
      line: 4,
      text: expect.stringMatching(/^YAML: /),
      hint: expect.stringMatching(/bracket/),
    });
    const unclosed = bad('fleet: "northline\ntruck: T-1\n');
    expect(unclosed[0]!.text).toMatch(/^YAML: .*quote/i);
  });

  it('a binary file is called that, with its line', () => {
    expect(lines('fleet: a\n\0\x01\x02')).toEqual([
      'truck.yaml:2:1: this is not plain text in UTF-8 — save the file as UTF-8 text',
    ]);
  });

  it('an alias bomb is refused', () => {
    const bomb = `a: &a [x,x,x,x,x,x,x,x,x,x]\n${'bcdefg'
      .split('')
      .map((c, i) => `${c}: &${c} [${Array(10).fill(`*${'abcdef'[i]}`)}]`)
      .join('\n')}`;
    expect(bad(bomb)[0]!.hint).toContain('alias');
  });
});

describe('several mistakes', () => {
  const text = `fleet: north line
vehicel: truck
buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {kind: steer, tires: single, coldPressure: 120}
tirePositions: {main/51: {"0x50": tractor/6/left/outer}, 51: {}}
rules:
  air-lov: {}
  tire-hot: {levels: {next-stop: {raise: 230 F, clear: 110 C}, pull-over: {raise: hot}}}
`;

  it('are all listed, in the order of the file', () => {
    expect(bad(text).map((p) => `${p.line}:${p.column}`)).toEqual([
      '1:1',
      '1:8',
      '2:1',
      '7:52',
      '8:35',
      '8:58',
      '10:3',
      '11:56',
      '11:83',
    ]);
  });

  it('each say what to do', () => {
    for (const problem of bad(text)) expect(problem.hint).not.toBe('');
  });

  it('more than a hundred are cut', () => {
    const many = Array.from({ length: 300 }, (_, n) => `k${n}: x`).join('\n');
    expect(bad(many)).toHaveLength(100);
  });
});

describe('files', () => {
  const folder = mkdtempSync(join(tmpdir(), 'truck-file-'));
  afterAll(() => rmSync(folder, { recursive: true }));

  it('a missing file and a directory are one line each', () => {
    const line = (path: string) => loadTruckFile(path).problems?.map(formatProblem);
    expect(line(join(folder, 'none.yaml'))).toEqual([
      `${folder}/none.yaml:1:1: cannot be read: no such file — check the path`,
    ]);
    expect(line(folder)).toEqual([`${folder}:1:1: cannot be read: it is a directory — check the path`]);
  });

  it('a file that is far too long is not read', () => {
    const path = join(folder, 'long.yaml');
    writeFileSync(path, '#'.repeat(1_000_001));
    expect(loadTruckFile(path).problems?.[0]?.text).toContain('too long');
  });
});

describe('whatever is in the file', () => {
  const base = HEAD + LAYOUT;

  it('the loader answers, and every problem has a place inside it', () => {
    fc.assert(
      fc.property(fc.nat(base.length), fc.nat(40), fc.string({ maxLength: 12 }), (at, cut, insert) => {
        const text = base.slice(0, at) + insert + base.slice(at + cut);
        const { problems } = readTruckFile(text, 'truck.yaml');
        for (const problem of problems ?? []) {
          expect(problem.line).toBeGreaterThanOrEqual(1);
          expect(problem.line).toBeLessThanOrEqual(text.split(/\r\n|\r|\n/).length + 1);
          expect(problem.column).toBeGreaterThanOrEqual(1);
          expect(formatProblem(problem)).not.toMatch(/\n/);
        }
      }),
      { numRuns: 300 },
    );
  });
});

describe('air pressure by altitude', () => {
  // ISO 2533 (standard atmosphere), rounded table values, from memory.
  it.each([
    [0, 101.325],
    [1000, 89.87],
    [2000, 79.5],
    [3000, 70.11],
    [-400, 106.2],
  ])('%s m: %s kPa', (altitude, kPa) => {
    expect(Math.abs(standardAirKpa(altitude) - kPa)).toBeLessThan(0.06);
  });
});
