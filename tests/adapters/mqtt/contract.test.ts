import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { Ajv, type ValidateFunction } from 'ajv';
import { describe, expect, it } from 'vitest';
import { MESSAGES } from '../../../adapters/mqtt/contract.js';
import { contractFiles } from '../../../adapters/mqtt/contract-files.js';
import { parseTopic, REPLAY_ROOT } from '../../../adapters/mqtt/topics.js';
import { messagesFolder, packageRoot } from '../../../config/package.js';
import { examplesOfDocs } from '../../../scripts/contract-examples.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';

const folder = messagesFolder();
const jsonIn = (path: string): Record<string, unknown> => JSON.parse(readFileSync(path, 'utf8'));
const examples = examplesOfDocs();
const seed = printedSeed('contract');
// The draft's own words for text are Unicode ones, as ours are.
const ajv = new Ajv({ allErrors: false, strict: false, unicodeRegExp: true });
const validators = new Map<string, ValidateFunction>(
  MESSAGES.map(({ name }) => [name, ajv.compile(jsonIn(join(folder, `${name}.schema.json`)))]),
);

describe('docs/messages', () => {
  it('is what the schemas make: npm run schema', () => {
    const files = contractFiles(examples);
    expect(readdirSync(folder).sort()).toEqual(Object.keys(files).sort());
    for (const [name, text] of Object.entries(files)) expect(readFileSync(join(folder, name), 'utf8'), name).toBe(text);
  });

  // https://github.com/asyncapi/spec-json-schemas, as the package @asyncapi/specs has it.
  it('asyncapi.json is an AsyncAPI document by the schema of that standard', () => {
    const standard = createRequire(import.meta.url)('@asyncapi/specs/schemas/3.0.0.json') as object;
    const isAsyncApi = new Ajv({ strict: false, validateFormats: false, validateSchema: false, meta: false }).compile(
      standard,
    );
    const document = jsonIn(join(folder, 'asyncapi.json'));
    expect(isAsyncApi(document), JSON.stringify(isAsyncApi.errors?.slice(0, 3))).toBe(true);
    expect(isAsyncApi({ ...document, channels: { event: { address: 7 } } })).toBe(false);
  });

  it('every reference in it leads somewhere', () => {
    const document = jsonIn(join(folder, 'asyncapi.json'));
    const references: string[] = [];
    JSON.stringify(document, (key, value: unknown) => {
      if (key === '$ref') references.push(value as string);
      return value;
    });
    expect(references.length).toBeGreaterThan(20);
    for (const reference of references) {
      const found = reference.startsWith('#/')
        ? reference
            .slice(2)
            .split('/')
            .reduce<unknown>((at, key) => (at as Record<string, unknown>)?.[key], document)
        : existsSync(join(folder, reference));
      expect(found, reference).toBeTruthy();
    }
  });

  it('docs/topics.md has the same topics, senders, retained flags and sizes', () => {
    const page = readFileSync(join(packageRoot(), 'docs/topics.md'), 'utf8');
    for (const { topic, from, retained, maxBytes } of MESSAGES) {
      const size = maxBytes >= 1024 ? `${maxBytes / 1024} KB` : `${maxBytes} B`;
      const row = new RegExp(`^\\| \`${topic}\` \\| ${from} \\| ${retained ? 'yes' : 'no'} \\| ${size}`, 'm');
      expect(page, topic).toMatch(row);
    }
  });
});

describe('the JSON Schemas and the program', () => {
  it.each(MESSAGES)('read the example of $name in docs/topics.md', ({ name, schema }) => {
    expect(validators.get(name)!(examples[name])).toBe(true);
    expect(schema.safeParse(examples[name]).success).toBe(true);
  });

  it.each(MESSAGES)('agree on mutated messages: $name', ({ name, schema }) => {
    const validate = validators.get(name)!;
    const counts = { taken: 0, refused: 0 };
    const strange = fc.oneof(
      fc.constantFrom<unknown>(
        null,
        true,
        false,
        -1,
        0,
        1,
        1.5,
        2 ** 53,
        '',
        'x',
        'é',
        '\n',
        '\u200b',
        'tire-hot',
        [],
        {},
      ),
      fc.string({ unit: 'grapheme', maxLength: 130 }),
      fc.double({ noNaN: true, noDefaultInfinity: true }),
    );
    fc.assert(
      fc.property(fc.array(fc.tuple(fc.nat(), fc.option(strange, { nil: undefined })), { maxLength: 2 }), (changes) => {
        const message = structuredClone(examples[name]) as object;
        for (const [at, value] of changes) change(message, at, value);
        const said = validate(message);
        expect(schema.safeParse(message).success).toBe(said);
        counts[said ? 'taken' : 'refused']++;
      }),
      { seed, numRuns: 1500 },
    );
    console.log(`${name}: ${counts.taken} taken, ${counts.refused} refused; seed ${seed}`);
    expect(Math.min(counts.taken, counts.refused)).toBeGreaterThan(50);
  });
});

describe('messages of earlier versions', () => {
  // Published by the program as it was before it told trips and versions, and as it was when it first did.
  const stored = readdirSync(new URL('stored', import.meta.url)).map((name) => {
    const text = readFileSync(new URL(`stored/${name}`, import.meta.url), 'utf8');
    return {
      name,
      lines: text
        .trim()
        .split('\n')
        .map((line) => JSON.parse(line) as { topic: string; payload: unknown }),
    };
  });

  it.each(stored)('$name is read as ever', ({ lines }) => {
    expect(lines.length).toBeGreaterThan(30);
    for (const { topic, payload } of lines) {
      const name = parseTopic(REPLAY_ROOT, topic)?.name ?? '';
      const kind = (payload as { kind?: string }).kind === 'start-check' ? 'start-check' : name;
      const contract = MESSAGES.find((one) => one.name === kind)!;
      expect(contract.schema.safeParse(payload).error?.issues ?? [], topic).toEqual([]);
      expect(validators.get(kind)!(payload), topic).toBe(true);
    }
  });

  it('a key that a later version adds is no mistake', () => {
    for (const { name, schema } of MESSAGES) {
      const message = { ...(examples[name] as object), colourOfTheSky: 'grey' };
      expect([name, schema.safeParse(message).success, validators.get(name)!(message)]).toEqual([name, true, true]);
    }
  });
});

/** Puts a value in the n-th place of a tree, or takes that place away. */
function change(tree: object, n: number, value: unknown): void {
  const places: [Record<string, unknown>, string][] = [];
  const walk = (at: unknown): void => {
    if (typeof at !== 'object' || at === null) return;
    for (const [key, below] of Object.entries(at)) {
      places.push([at as Record<string, unknown>, key]);
      walk(below);
    }
  };
  walk(tree);
  const [parent, key] = places[n % places.length]!;
  if (value === undefined && !Array.isArray(parent)) delete parent[key];
  else parent[key] = value ?? null;
}
