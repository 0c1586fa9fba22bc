import { z } from 'zod';
import { COUNT, type Json, jsonOf, oneOfWords } from './json-forms.js';
import { TOLD_OF_RULES, toldOf } from './json-words.js';
import { type Dimension, writeQuantity } from './quantities.js';
import { DEFAULT_TEXTS } from './resolve.js';
import { type Criterion, RULE_NAMES, type RuleName } from './resolved.js';
import { constantDimension, type DefaultRule, type Defaults } from './rules.js';
import { formOf, map } from './scalars.js';
import { NONE, REMOVABLE, REQUIRED, SECTIONS } from './schema.js';

/**
 * The truck file as a JSON Schema, so that editors complete keys and values and underline mistakes while one types. Made
 * from the zod schema that the loader uses, by `npm run schema`; the loader itself does not read it.
 *
 * Draft 7, the one that every YAML language server knows. One schema serves truck files and what they build on: nothing
 * that another file may give is required, unless the file names a truck and builds on nothing.
 */
export function truckSchema(defaults: Defaults, about: Partial<Record<RuleName, string>>): Json {
  const { rules: _, ...sections } = SECTIONS;
  const made = z.toJSONSchema(map(sections), {
    target: 'draft-7',
    io: 'input',
    override: ({ zodSchema, jsonSchema }) => {
      const form = formOf(zodSchema);
      if (form === undefined) return;
      for (const key of Object.keys(jsonSchema)) delete (jsonSchema as Json)[key];
      Object.assign(jsonSchema, jsonOf(form));
    },
  }) as Json;
  const { $schema, ...root } = made;
  const properties = root.properties as Json;
  properties.rules = rulesJson(defaults, about);
  const required = requiredOf({ ...root, required: REQUIRED })!;
  return {
    $schema,
    title: 'Axlepost truck file',
    description: 'A truck file, or a fleet or type file that truck files build on.',
    ...(finished(root, '') as Json),
    if: { required: ['truck'], not: { required: ['from'] } },
    [THEN]: required,
    definitions: Object.fromEntries(usedDimensions(defaults).map((name) => [name, named(name)])),
  };
}

/** The keyword. Nothing here is ever awaited, which is what a linter fears of the name. */
const THEN = 'then';

/** What must be there in a file that stands alone; entries of lists are whole in every file and keep theirs. */
function requiredOf(schema: Json): Json | null {
  const inner = Object.entries((schema.properties ?? {}) as Record<string, Json>).flatMap(([key, value]) => {
    const found = requiredOf(value);
    return found === null ? [] : [[key, found] as const];
  });
  const required = (schema.required as string[] | undefined) ?? [];
  if (required.length === 0 && inner.length === 0) return null;
  return {
    ...(required.length === 0 ? {} : { required }),
    ...(inner.length === 0 ? {} : { properties: Object.fromEntries(inner) }),
  };
}

/** With descriptions, defaults and `none`; without what only a file that stands alone must have. `path` as in json-words.ts. */
function finished(schema: Json, path: string, inList = false): Json {
  const { required, ...rest } = schema;
  const done: Json = inList && required !== undefined ? { ...rest, required } : rest;
  const below = (key: string) => (path === '' ? key : `${path}.${key}`);
  if (rest.properties !== undefined) {
    const entries = Object.entries(rest.properties as Record<string, Json>);
    done.properties = Object.fromEntries(entries.map(([key, value]) => [key, finished(value, below(key), inList)]));
  }
  if (typeof rest.additionalProperties === 'object') {
    done.additionalProperties = finished(rest.additionalProperties as Json, below('*'), inList);
  }
  if (rest.items !== undefined) done.items = finished(rest.items as Json, below('*'), true);
  const { instead, also = {} } = toldOf(path) ?? {};
  return told(instead ?? { ...done, ...also }, path);
}

function told({ description: own, ...schema }: Json, path: string): Json {
  const description = toldOf(path)?.text ?? own;
  const text = DEFAULT_TEXTS.find(([of]) => of === path)?.[1];
  const beside = {
    ...(description === undefined ? {} : { description }),
    ...(text === undefined || text === NONE || /^[[{]/.test(text) ? {} : { default: text }),
  };
  return REMOVABLE.includes(path) ? { anyOf: [schema, { const: NONE }], ...beside } : { ...schema, ...beside };
}

function rulesJson(defaults: Defaults, about: Partial<Record<RuleName, string>>): Json {
  const properties = Object.fromEntries(
    RULE_NAMES.map((name) => {
      return [name, ruleJson(defaults[name], about[name] ?? '')];
    }),
  );
  return { type: 'object', properties, additionalProperties: false };
}

function ruleJson({ config, judged, dimensions }: DefaultRule, about: string): Json {
  const state = judged ? `${config.enabled ? 'On' : 'Off'} by default.` : 'Not judged by this version.';
  const group = (levels: boolean): Json => {
    const all = Object.entries(config.criteria).filter(([name, c]) => (name === c.urgency) === levels);
    return closed(Object.fromEntries(all.map(([name, c]) => [name, levelJson(c, dimensions[name] ?? null)])));
  };
  const constants = Object.entries(config.constants).map(([name, value]) => {
    const [dimension, per] = constantDimension(name);
    return [name, { ...dimensionRef(dimension), default: writeQuantity(value * per, dimension) }];
  });
  const no = { anyOf: [{ enum: ['no', false] }, oneOfWords(['no', 'off', 'false'])] };
  const enabled = judged ? jsonOf({ is: 'yesNo' }) : no;
  return {
    description: [about, state].filter((text) => text !== '').join('. '),
    ...closed({
      enabled: { ...enabled, description: TOLD_OF_RULES.enabled },
      levels: { ...group(true), description: TOLD_OF_RULES.levels },
      also: { ...group(false), description: TOLD_OF_RULES.also },
      constants: { ...closed(Object.fromEntries(constants)), description: TOLD_OF_RULES.constants },
    }),
  };
}

const closed = (properties: Json): Json => ({ type: 'object', properties, additionalProperties: false });

function levelJson(c: Criterion, dimension: Dimension | null): Json {
  const value = (n: number | null, description: string): Json | null =>
    n === null || dimension === null
      ? null
      : { ...dimensionRef(dimension), description, default: writeQuantity(n, dimension) };
  const raise = value(c.raise, `${TOLD_OF_RULES.raise} Source of the default: ${c.basis}.`);
  const clear = value(c.clear, TOLD_OF_RULES.clear);
  const held = (n: number, description: string): Json => ({
    ...dimensionRef('duration'),
    description,
    default: `${n} s`,
  });
  return closed({
    ...(raise === null ? {} : { raise }),
    ...(clear === null ? {} : { clear }),
    ...(c.of === null
      ? { raiseAfter: held(c.raiseAfterS, TOLD_OF_RULES.raiseAfter) }
      : { of: { ...COUNT, description: TOLD_OF_RULES.of, default: `${c.of.n} of ${c.of.m}` } }),
    clearAfter: held(c.clearAfterS, TOLD_OF_RULES.clearAfter),
    basis: { ...jsonOf({ is: 'words', longest: 200 }), description: TOLD_OF_RULES.basis },
  });
}

/** In draft 7 nothing beside $ref counts, so that it stands alone within allOf. */
const dimensionRef = (dimension: Dimension): Json => ({ allOf: [{ $ref: `#/definitions/${dimension}` }] });

function named(dimension: Dimension): Json {
  return jsonOf({ is: 'quantity', dimension, low: Number.NEGATIVE_INFINITY, high: Number.POSITIVE_INFINITY });
}

function usedDimensions(defaults: Defaults): Dimension[] {
  const used = new Set<Dimension>(['duration']);
  for (const { config, dimensions } of Object.values(defaults)) {
    for (const dimension of Object.values(dimensions)) if (dimension !== null) used.add(dimension);
    for (const name of Object.keys(config.constants)) used.add(constantDimension(name)[0]);
  }
  return [...used].sort();
}
