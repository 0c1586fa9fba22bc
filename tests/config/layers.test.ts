import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, describe, expect, it } from 'vitest';
import { loadDefaults, loadTruckFile, type Read, readTruckFile } from '../../config/load.js';
import { formatProblem } from '../../config/problems.js';

const EXAMPLES = fileURLToPath(new URL('../../config/examples/', import.meta.url));

const TYPE = `buses: [{name: main, interface: can0}]
layout:
  tractor:
    axles:
      - {kind: steer, tires: single, coldPressure: 120 psi}
      - {kind: drive, tires: dual, coldPressure: 100 psi}
  trailer:
    axles:
      - {kind: trailer, tires: dual, coldPressure: 100 psi}
`;
const FLEET = `fleet: northline
depotAltitude: 100 m
show: {pressure: psi, temperature: °F}
mqtt: {url: "mqtts://office.northline.example", user: cab, password: {env: AXLEPOST_PASSWORD}, ca: ca.pem}
gauge: {main/51: fixed, main/52: fixed}
signals: [{pgn: 0xFF21, byte: 1, length: 8, scale: 1 mm, quantity: stroke, subject: tractor/2/left}]
rules: {tire-hot: {levels: {next-stop: {raise: 105 °C}}}, duals-unequal: {enabled: no}}
`;
const TRUCK = 'from: [../fleet.yaml, ../types/6x4.yaml]\ntruck: T-7\n';

interface Files {
  [path: string]: string;
}
const FILES: Files = { 'fleet.yaml': FLEET, 'types/6x4.yaml': TYPE };

/** A truck in a folder beside its fleet's. */
function load(truck: string, files: Files = FILES) {
  const read = (path: string): Read =>
    files[path] === undefined
      ? { error: { text: 'cannot be read: no such file', hint: 'check the path' } }
      : { text: files[path] };
  return readTruckFile(truck, 'trucks/T-7.yaml', loadDefaults(), read);
}
function good(truck: string, files?: Files) {
  const result = load(truck, files);
  if (result.config === undefined) throw new Error(result.problems.map(formatProblem).join('\n'));
  return result;
}
const lines = (truck: string, files?: Files): string[] => (load(truck, files).problems ?? []).map(formatProblem);

describe('a truck file that builds on others', () => {
  it('has what they say together', () => {
    const { config } = good(TRUCK);
    expect(config).toMatchObject({ fleet: 'northline', truck: 'T-7', show: { pressure: 'psi', position: 'exact' } });
    expect(config.units.map(({ unit, axles }) => [unit, axles.length])).toEqual([
      ['tractor', 2],
      ['trailer', 1],
    ]);
  });

  it('is the stronger: maps merge key by key', () => {
    const { config } = good(`${TRUCK}show: {pressure: bar}\nlayout: {trailer: {id: TR-77}}\ndepotAltitude: 0 m\n`);
    expect(config.show).toEqual({ pressure: 'bar', temperature: '°F', position: 'exact' });
    expect(config.units[1]).toMatchObject({ unit: 'trailer', id: 'TR-77', axles: [{ kind: 'trailer' }] });
    expect(config.depotAirKpa).toBe(101.325);
  });

  it('replaces lists as a whole', () => {
    const axles = 'layout: {tractor: {axles: [{kind: steer, tires: single}]}}';
    const { config } = good(`${TRUCK}${axles}\nsignals: []\n`);
    expect(config.units[0]!.axles).toHaveLength(1);
    expect(config.signals).toEqual([]);
  });

  it('merges limits: each of a level may come from another file', () => {
    const type = `${TYPE}rules: {tire-hot: {levels: {next-stop: {clear: 95 °C, raise: 90 °C}}}}\n`;
    const { config } = good(`${TRUCK}rules: {tire-hot: {levels: {next-stop: {raise: 104 °C}}}}\n`, {
      ...FILES,
      'types/6x4.yaml': type,
    });
    expect(config.rules['tire-hot'].criteria['next-stop']).toMatchObject({ raise: 104, clear: 95, raiseAfterS: 180 });
    expect(config.rules['duals-unequal'].enabled).toBe(false);
  });

  it('the later of the named files is the stronger', () => {
    const files = { ...FILES, 'types/6x4.yaml': `${TYPE}depotAltitude: 900 m\n` };
    const low = good(TRUCK.replace('[../fleet.yaml, ../types/6x4.yaml]', '[../types/6x4.yaml, ../fleet.yaml]'), files);
    expect(low.config.depotAirKpa).toBeGreaterThan(good(TRUCK, files).config.depotAirKpa);
  });

  it('a password has one place, the stronger one', () => {
    const { config } = good(`${TRUCK}mqtt: {password: {file: /run/password}}\n`);
    expect(config.mqtt).toMatchObject({ user: 'cab', password: { file: '/run/password' } });
  });
});

describe('none', () => {
  it('takes out what a weaker file has', () => {
    const text = `${TRUCK}mqtt: none\nlayout: {trailer: none}\nsignals: none\ngauge: {main/51: none}\nrules: {tire-hot: none}\n`;
    const { config } = good(text);
    expect(config.mqtt).toBeNull();
    expect(config.units.map((unit) => unit.unit)).toEqual(['tractor']);
    expect(config.signals).toEqual([]);
    expect(config.fixedGaugeSources).toEqual([{ bus: 'main', source: 52 }]);
    expect(config.rules['tire-hot'].criteria['next-stop']!.raise).toBe(110);
    expect(config.rules['duals-unequal'].enabled).toBe(false);
  });

  it('takes out single entries of the broker', () => {
    const { config } = good(`${TRUCK}mqtt: {user: none, password: none, ca: none}\n`);
    expect(config.mqtt).toMatchObject({ user: null, password: null, ca: null });
  });

  it('in a weaker file is undone by a stronger one', () => {
    const files = { ...FILES, 'fleet.yaml': FLEET.replace(/mqtt: .*/, 'mqtt: none') };
    expect(good(`${TRUCK}mqtt: {url: "mqtt://127.0.0.1"}\n`, files).config.mqtt?.url).toBe('mqtt://127.0.0.1');
  });

  it('makes nothing known that is not', () => {
    expect(lines(`${TRUCK}rules: {air-lov: none}\n`)[0]).toContain('unknown rule "air-lov"');
    expect(lines(`${TRUCK}gauge: {51: none}\n`)[0]).toContain('"51" is not a sender');
    expect(lines(`${TRUCK}recoder: none\n`)[0]).toContain('unknown key "recoder"');
  });

  it('is harmless where there is nothing, and no value of what cannot be left out', () => {
    expect(good(`${TRUCK}recorder: none\nhealth: none\nshow: {position: none}\n`).config).toMatchObject({
      recorder: null,
      health: null,
      show: { position: 'none' },
    });
    expect(lines(`${TRUCK}buses: none\n`)[0]).toMatch(/^trucks\/T-7\.yaml:3:8: "buses" should be a list/);
    expect(lines(`${TRUCK}layout: {tractor: none}\n`)[0]).toMatch(/^trucks\/T-7\.yaml:3:19: "tractor" should be a map/);
  });
});

describe('the order of units', () => {
  const DOLLY = 'dolly: {axles: [{kind: trailer, tires: dual, coldPressure: 8 bar}]}';

  it('is that of a file that names them all', () => {
    const { config, notes } = good(`${TRUCK}layout: {tractor: {}, ${DOLLY}, trailer: {}}\n`);
    expect(config.units.map((unit) => unit.unit)).toEqual(['tractor', 'dolly', 'trailer']);
    expect(notes).toEqual([]);
  });

  it('has new ones last otherwise, and a dolly there is noted', () => {
    const { config, notes } = good(`${TRUCK}layout: {${DOLLY}}\n`);
    expect(config.units.map((unit) => unit.unit)).toEqual(['tractor', 'trailer', 'dolly']);
    expect(notes.map(formatProblem)[0]).toMatch(/^trucks\/T-7\.yaml:3:10: nothing stands on the dolly/);
  });
});

const withFleet = (line: string): Files => ({ ...FILES, 'fleet.yaml': `${FLEET}${line}\n` });

const BAD: [what: string, truck: string, files: Files, line: string][] = [
  [
    'a wrong value of a layer',
    TRUCK,
    { ...FILES, 'fleet.yaml': FLEET.replace('100 m', '100') },
    'fleet.yaml:2:16: depotAltitude: "100" has no unit — write "100 m"; accepted: m or ft',
  ],
  [
    'an unknown key of a layer',
    TRUCK,
    withFleet('recoder: {path: r}'),
    'fleet.yaml:8:1: unknown key "recoder" — did you mean recorder?',
  ],
  [
    'an unknown key deep in a layer, below a map that the truck file writes too',
    `${TRUCK}rules: {tire-hot: {levels: {pull-over: {raise: 121 °C}}}}\n`,
    { ...FILES, 'fleet.yaml': FLEET.replace('raise: 105 °C', 'rais: 105 °C') },
    'fleet.yaml:7:41: unknown key "rais" — did you mean raise?',
  ],
  [
    'a limit of the truck file against one of a layer',
    `${TRUCK}rules: {tire-hot: {levels: {next-stop: {raise: 98 °C}}}}\n`,
    { ...FILES, 'fleet.yaml': FLEET.replace('raise: 105 °C', 'raise: 105 °C, clear: 99 °C') },
    'trucks/T-7.yaml:3:48: clear 99 °C lies above raise 98 °C — write a clear value below 98 °C, for example "clear: 88 °C"',
  ],
  [
    'levels of two files in the wrong order',
    `${TRUCK}rules: {tire-hot: {levels: {pull-over: {raise: 104 °C, clear: 100 °C}}}}\n`,
    FILES,
    'trucks/T-7.yaml:3:48: pull-over at 104 °C comes before next-stop at 105 °C — change both, or this one less',
  ],
  [
    'a subject that the truck file took out of the layout',
    `${TRUCK}layout: {tractor: {axles: [{kind: steer, tires: single}]}}\n`,
    FILES,
    'fleet.yaml:6:85: "tractor/2/left" has no stroke here — did you mean tractor/1/left?',
  ],
  [
    'a layer that is not there',
    'from: [../fleet.yaml, ../types/8x4.yaml]\ntruck: T-7\n',
    FILES,
    'trucks/T-7.yaml:1:23: types/8x4.yaml cannot be read: no such file — check the path; it starts at the folder of this file',
  ],
  [
    'a layer that is named twice',
    'from: [../fleet.yaml, ../types/6x4.yaml, ../fleet.yaml]\ntruck: T-7\n',
    FILES,
    'trucks/T-7.yaml:1:42: "../fleet.yaml" is there twice — keep one of the two',
  ],
  [
    'one name where a list belongs',
    'from: ../fleet.yaml\ntruck: T-7\n',
    FILES,
    'trucks/T-7.yaml:1:7: "from" should be a list — write for example `from: [../fleet.yaml, ../types/6x4.yaml]`',
  ],
  [
    'a layer that builds on others',
    TRUCK,
    withFleet('from: [all.yaml]'),
    'fleet.yaml:8:1: "from" belongs into truck files, not into what they build on — name all files in the truck file, the most general first',
  ],
  [
    'a layer that names a truck',
    TRUCK,
    withFleet('truck: T-1'),
    'fleet.yaml:8:1: "truck" belongs into truck files, not into what they build on — move it there',
  ],
  [
    'a truck file that builds on itself',
    'from: [T-7.yaml]\ntruck: T-7\n',
    { 'trucks/T-7.yaml': 'from: [T-7.yaml]\ntruck: T-7\n' },
    'trucks/T-7.yaml:1:1: "from" belongs into truck files, not into what they build on — name all files in the truck file, the most general first',
  ],
  [
    'an empty layer',
    TRUCK,
    { ...FILES, 'fleet.yaml': '' },
    'fleet.yaml:1:1: the file is empty — it begins for example with `fleet: northline`',
  ],
  [
    'a layer that is no map',
    TRUCK,
    { ...FILES, 'fleet.yaml': '- a\n' },
    'fleet.yaml:1:1: no truck can build on this — it begins for example with `fleet: northline`',
  ],
  [
    'broken YAML in a layer',
    TRUCK,
    { ...FILES, 'fleet.yaml': 'fleet: "northline\n' },
    'fleet.yaml:2:1: YAML: missing closing "quote — look for an unclosed quote, bracket or brace, or a missing space after a colon, here or just above',
  ],
  [
    'what no file has',
    TRUCK,
    { ...FILES, 'fleet.yaml': FLEET.replace('fleet: northline\n', '') },
    'trucks/T-7.yaml:1:1: "fleet" is missing — add for example `fleet: northline`',
  ],
  [
    'what no file has of a unit',
    `${TRUCK}layout: {dolly: {id: D-1}, trailer-2: {id: TR-2}}\n`,
    FILES,
    'trucks/T-7.yaml:3:17: "axles" is missing — add for example `axles: [{kind: steer, tires: single}]`',
  ],
];

describe('problems name the file, line and column where the value was written', () => {
  it.each(BAD)('%s', (_what, truck, files, line) => {
    expect(lines(truck, files)[0]).toBe(line);
  });

  it('a wrong value that is not in force is nobody’s problem', () => {
    const files = { ...FILES, 'fleet.yaml': FLEET.replace('100 m', '100') };
    expect(good(`${TRUCK}depotAltitude: 0 m\n`, files).config.truck).toBe('T-7');
  });

  it('all files in their order, and each from top to bottom', () => {
    const files = {
      'fleet.yaml': FLEET.replace('100 m', '100'),
      'types/6x4.yaml': TYPE.replace('120 psi', '120').replace('100 psi', '100'),
    };
    expect(lines(`${TRUCK}colour: red\nvehicle: car\n`, files).map((line) => line.split(': ')[0])).toEqual([
      'fleet.yaml:2:16',
      'types/6x4.yaml:5:52',
      'types/6x4.yaml:6:50',
      'trucks/T-7.yaml:3:1',
      'trucks/T-7.yaml:4:10',
    ]);
  });

  it('a layer that is not there is all that is said: what it has is not missing', () => {
    expect(lines(TRUCK, { 'fleet.yaml': FLEET })).toHaveLength(1);
  });
});

describe('on disk', () => {
  const folder = mkdtempSync(join(tmpdir(), 'layers-'));
  afterAll(() => rmSync(folder, { recursive: true }));
  mkdirSync(join(folder, 'types'));
  mkdirSync(join(folder, 'trucks'));
  for (const [name, text] of Object.entries(FILES)) writeFileSync(join(folder, name), text);
  const put = (name: string, text: string): string => {
    writeFileSync(join(folder, 'trucks', name), text);
    return join(folder, 'trucks', name);
  };

  it('paths start at the folder of the truck file, or are whole', () => {
    const { config, origins } = loadTruckFile(put('T-7.yaml', TRUCK.replace('../types', `${folder}/types`)));
    expect(config?.truck).toBe('T-7');
    expect(origins?.files).toEqual(['fleet.yaml', 'types/6x4.yaml', 'trucks/T-7.yaml'].map((n) => join(folder, n)));
  });

  it('a folder in place of a layer, or a path that no system takes, is one line', () => {
    const line = (name: string) => {
      const { problems } = loadTruckFile(put('T-8.yaml', TRUCK.replace('../fleet.yaml', name)));
      return problems?.map(formatProblem).join('\n');
    };
    expect(line('..')).toMatch(/T-8\.yaml:1:8: \S+ cannot be read: it is a directory — [^\n]*$/);
    expect(loadTruckFile('a\0b').problems).toHaveLength(1);
  });

  it.each(['[', '{a: ', '- '])('thousands of "%s" within each other are a problem, not a crash', (open) => {
    const { problems } = loadTruckFile(put('T-9.yaml', `${TRUCK}show: ${open.repeat(50_000)}`));
    expect(problems!.length).toBeGreaterThan(0);
  });
});

describe('the example fleet', () => {
  const trucks = readdirSync(join(EXAMPLES, 'northline/trucks'));

  it('has the trucks that also stand alone', () => {
    expect(trucks.sort()).toEqual(['B-31.yaml', 'T-1042.yaml', 'T-208.yaml']);
  });

  it.each(trucks)('%s is judged as the one that stands alone', (name) => {
    const layered = loadTruckFile(join(EXAMPLES, 'northline/trucks', name));
    const alone = loadTruckFile(join(EXAMPLES, name));
    expect(layered.notes).toEqual([]);
    expect(layered.config!.hash).toBe(alone.config!.hash);
    expect({ ...layered.config, ...EDGES }).toEqual({ ...alone.config, ...EDGES });
    expect(readFileSync(join(EXAMPLES, 'northline/trucks', name), 'utf8')).toMatch(/^from: /m);
  });

  /** What decides nothing, and what the fleet has and the trucks that stand alone have not. */
  const EDGES = { mqtt: null, store: null, recorder: null, health: null };
});
