import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv } from 'ajv';
import { describe, expect, it } from 'vitest';
import { isMap, isPair, isScalar, isSeq, type Node, parse, parseDocument, visit } from 'yaml';
import { loadOffice, readOfficeFile } from '../../config/office.js';
import { officeSchemaText } from '../../config/office-json-schema.js';
import { officeSchemaFile, packageRoot } from '../../config/package.js';
import fc from '../support/property.js';
import { printedSeed } from '../support/seed.js';

/* As json-schema.test.ts does with the truck file: ajv stands for an editor's library, and the loader says what is right. */

const text = readFileSync(officeSchemaFile(), 'utf8');
interface Json {
  [key: string]: Json | Json[] | string | undefined;
}
const schema = JSON.parse(text) as Json;
const ajv = new Ajv({ strict: true, strictRequired: false, strictTypes: false, allowUnionTypes: true });
const validate = ajv.compile(schema);

const EXAMPLE = join(packageRoot(), 'config/examples/northline/office.yaml');

/** What a YAML library of an editor makes of a text; undefined: it says that this is not YAML. */
function edited(yaml: string): unknown {
  try {
    return parse(yaml, { schema: 'core', logLevel: 'silent' });
  } catch {
    return undefined;
  }
}
const allowed = (yaml: string): boolean => validate(edited(yaml));
const loads = (yaml: string): boolean => readOfficeFile(yaml, 'office.yaml').config !== undefined;

/** Every section and entry that there is, but for those that exclude each other. */
const FULL = `mqtt: {url: "mqtts://broker.example:8883", user: office, password: {env: BROKER}, ca: ca.pem, cert: c.pem, key: k.pem, unencrypted: no, shared: axlepost-office}
store: {postgres: {env: AXLEPOST_OFFICE_DATABASE}, keep: 90 d}
board:
  listen: 127.0.0.1:8430
  unencrypted: no
  origin: https://board.example
  forwardedFor: no
  signIn: {proxy: {userHeader: x-user, secret: {file: proxy-secret}}}
fleets:
  northline:
    untaken: {pull-over: 2 min, next-stop: 15 min, plan: never}
    position: rounded
    show: {pressure: psi, temperature: F}
    timeZone: America/Chicago
    expected: [{trucks: [T-1042, T-208], days: [mon, tue, wed, thu, fri], by: "08:00"}]
    send: {desk-hook: [pull-over, next-stop], night-mail: [pull-over]}
webhooks: {desk-hook: {url: "https://hooks.example/axlepost", secret: {file: desk-hook}, ca: ca.pem}}
mail: {night-mail: {server: "smtps://mail.example:465", user: u, password: {env: MAIL}, from: a@northline.example, to: [b@northline.example], ca: ca.pem}}
`;
const SQLITE =
  'store: {path: office.db}\nboard: {listen: /run/axlepost/board.sock, origin: https://b.example, signIn: accounts}\n';

describe('config/office.schema.json', () => {
  it('is what `npm run schema` makes', () => {
    expect(text === officeSchemaText(), 'run `npm run schema` and look at what changed').toBe(true);
  });

  it('allows the example, which names it and is without problems and notes', () => {
    const yaml = readFileSync(EXAMPLE, 'utf8');
    expect({ allowed: allowed(yaml), errors: validate.errors }).toEqual({ allowed: true, errors: null });
    const [, path] = /^# yaml-language-server: \$schema=(\S+)\n/.exec(yaml)!;
    expect(join(EXAMPLE, '..', path!)).toBe(officeSchemaFile());
    expect(loadOffice(EXAMPLE)).toMatchObject({ notes: [] });
  });

  it.each([FULL, SQLITE])('allows every section and entry that there is', (yaml) => {
    expect(readOfficeFile(yaml, 'office.yaml').problems).toBeUndefined();
    expect({ allowed: allowed(yaml), errors: validate.errors }).toEqual({ allowed: true, errors: null });
  });
});

/** Every part of the schema with its path of keys. */
function* parts(part: Json, path: string[] = []): Generator<[path: string, part: Json]> {
  yield [path.join('.'), part];
  for (const [key, inner] of Object.entries((part.properties ?? {}) as Json)) {
    yield* parts(inner as Json, [...path, key]);
  }
  for (const choice of (part.anyOf ?? []) as Json[]) if (choice.properties !== undefined) yield* parts(choice, path);
  if (typeof part.items === 'object') yield* parts(part.items as Json, [...path, '*']);
  if (typeof part.additionalProperties === 'object') yield* parts(part.additionalProperties as Json, [...path, '*']);
}
const all = [...parts(schema)];

describe('what an editor shows', () => {
  it('has a word for every entry', () => {
    const said = new Set(all.filter(([, part]) => part.description !== undefined).map(([path]) => path));
    const silent = all.map(([path]) => path).filter((path) => path !== '' && !path.endsWith('*') && !said.has(path));
    expect(said.size).toBeGreaterThan(50);
    expect(silent).toEqual([]);
  });

  it('completes a default that is itself allowed, and the one that is in force', () => {
    const defaults = all.filter(([, part]) => part.default !== undefined);
    expect(defaults.length).toBeGreaterThan(8);
    expect(
      defaults.filter(([, part]) => !ajv.compile(part)(parse(String(part.default)))).map(([path]) => path),
    ).toEqual([]);
    const written = defaults.map(([path, part]) => {
      const keys = path.replaceAll('*', 'northline').split('.');
      return keys.reduceRight((below, key) => `{${key}: ${below}}`, `"${part.default}"`);
    });
    // Of a fleet it must be in force also where it is named and says nothing.
    const bare = (yaml: string) =>
      readOfficeFile(yaml.includes('fleets') ? '{fleets: {northline: {}}}' : '{}', 'f').config;
    for (const yaml of written) expect(readOfficeFile(yaml, 'f').config, yaml).toEqual(bare(yaml));
  });
});

/** Change of FULL: [from, to]. */
const MISTAKES: [what: string, from: string | RegExp, to: string][] = [
  ['an unknown section', 'webhooks:', 'webhook:'],
  ['an unknown key', 'shared:', 'share:'],
  ['an unknown key of the proxy', 'userHeader', 'header'],
  ['an unknown urgency', '[pull-over, next-stop]', '[pull-over, soon]'],
  ['an urgency without time', 'plan: never', 'plan: later'],
  ['a number without unit', '90 d', '90'],
  ['a unit of something else', '2 min', '2 psi'],
  ['a position that is none', 'rounded', 'about'],
  ['a day that is none', 'mon, tue', 'monday, tue'],
  ['a time of day that is none', '08:00', '25:00'],
  ['a fleet that is no name', 'northline:', 'north/line:'],
  ['a sign-in that is none', /signIn: .*/, 'signIn: anybody'],
  ['an address without port', '127.0.0.1:8430', 'localhost'],
  ['an origin with a path', 'https://board.example', 'https://board.example/board'],
  ['a password as such', '{env: BROKER}', 'hunter2'],
  ['a password at two places', '{env: BROKER}', '{env: BROKER, file: b}'],
  ['a secret as such', 'secret: {file: desk-hook}', 'secret: hunter2'],
  ['a webhook without a secret', ', secret: {file: desk-hook}', ''],
  ['a token in the address', '/axlepost"', '/axlepost?token=a"'],
  ['a user in the address of a server', 'smtps://', 'smtps://u@'],
  ['mail to nobody', '[b@northline.example]', '[]'],
  ['an address with a name', 'a@northline.example', '"A <a@northline.example>"'],
  ['a store at two places', 'store: {', 'store: {path: a.db, '],
];

describe('mistakes that an editor underlines, and the loader refuses', () => {
  it.each(MISTAKES)('%s', (_what, from, to) => {
    const wrong = FULL.replace(from, to);
    expect(wrong).not.toBe(FULL);
    expect({ loader: loads(wrong), editor: allowed(wrong) }).toEqual({ loader: false, editor: false });
  });
});

/** What people write, and what YAML makes other things of. */
const SPELLINGS = [
  ...[
    'yes',
    'No',
    'TRUE',
    'off',
    'null',
    '~',
    '""',
    'none',
    'never',
    'NEVER',
    '[]',
    '{}',
    'x',
    'Accounts',
    'Mon',
    'PLAN',
  ],
  ...['7', '0x10', '1e2', '90 D', '30 days', '2 H', '1000 ms', '" 8 min "', '8:00', '"08:00"', '23:59', 'UTC', 'utc'],
  ...['MQTT://127.0.0.1', 'ws://[::1]/p', 'HTTPS://h.example', 'http://127.0.0.1:80/p', 'smtp://h', 'SMTPS://h:1/'],
  ...['localhost:0', '"[::1]:1"', '/s', 'X-User', 'a+b@c.example', 'Europe/Paris', 'Etc/GMT+1'],
];

/** Every text that comes of putting something else in place of one key or value, or of leaving one entry out. */
function* mutants(yaml: string): Generator<string> {
  const doc = parseDocument(yaml, { schema: 'failsafe' });
  const places: [from: number, to: number][] = [];
  const cuts: [from: number, to: number][] = [];
  visit(doc, (_key, node) => {
    if (isPair(node)) {
      const [key, value] = [node.key as Node, node.value as Node | null];
      cuts.push([key.range![0], (value ?? key).range![1]]);
      if (isMap(value) || isSeq(value)) places.push([value.range![0], value.range![1]]);
    } else if (isScalar(node)) places.push([node.range![0], node.range![1]]);
  });
  for (const [from, to] of places) {
    for (const spelling of SPELLINGS) yield `${yaml.slice(0, from)}${spelling}${yaml.slice(to)}`;
  }
  for (const [from, to] of cuts) yield `${yaml.slice(0, from)}${yaml.slice(to).replace(/^, */, '')}`;
}

describe('the schema never refuses what the loader accepts', () => {
  const seed = printedSeed('mutants of office files');
  const refused = (yaml: string): string => {
    allowed(yaml);
    return `${JSON.stringify(validate.errors?.slice(0, 3))} in ${yaml}`;
  };

  it.each([FULL, SQLITE])('whatever stands in a place', { timeout: 300_000 }, (yaml) => {
    const every = [...mutants(yaml)];
    const most = process.env.AXLEPOST_GRID === 'all' ? every.length : 500;
    const picked = fc.sample(fc.nat(every.length - 1), { numRuns: Math.min(most, every.length), seed });
    const accepted = (most < every.length ? picked.map((n) => every[n]!) : every).filter(loads);
    expect(accepted.filter((mutant) => !allowed(mutant)).map(refused)).toEqual([]);
    expect(accepted.length).toBeGreaterThan(20);
  });
});
