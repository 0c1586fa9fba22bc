import { z } from 'zod';
import { nearest } from './problems.js';
import { type Complaint, type Dimension, type Parsed, parseQuantity, parseWhole } from './quantities.js';

// A truck file is read once in the life of the program: compiling its schemas costs more than it saves.
z.config({ jitless: true });

/** Every scalar of a truck file is text until here (see source.ts); each of these makes one kind of value of it. */
type Read<T> = z.ZodType<T>;

/** What such a scalar may look like, for the JSON Schema that editors use (json-schema.ts). Reading does not need it. */
export type Form =
  | { is: 'quantity'; dimension: Dimension; low: number; high: number }
  | { is: 'whole'; low: number; high: number }
  | { is: 'yesNo' }
  | { is: 'word'; words: readonly string[]; spellings: readonly string[] }
  | { is: 'name' }
  | { is: 'words'; longest: number }
  | { is: 'variable' }
  | { is: 'instant' };

const forms = new WeakMap<object, Form>();

export const formOf = (schema: object): Form | undefined => forms.get(schema);

function from<T>(form: Form, parse: (text: string) => Parsed<T>): Read<T> {
  const schema = z.string().transform((text, ctx) => {
    const parsed = parse(text);
    if (parsed.complaint === undefined) return parsed.value;
    complain(ctx, parsed.complaint);
    return z.NEVER;
  });
  forms.set(schema, form);
  return schema as unknown as Read<T>;
}

function complain(ctx: z.RefinementCtx, { text, hint }: Complaint): void {
  ctx.addIssue({ code: 'custom', message: text, params: { hint } });
}

/** A map with just these keys. The message of the issue about unknown ones carries the known ones; see findings(). */
export function map<S extends z.core.$ZodLooseShape>(shape: S) {
  return z.strictObject(shape, {
    error: (issue) => (issue.code === 'unrecognized_keys' ? Object.keys(shape).join(' ') : undefined),
  });
}

/** A quantity in the inner unit of its dimension, within limits given in that unit. */
export const quantity = (dimension: Dimension, low: number, high: number): Read<number> =>
  from({ is: 'quantity', dimension, low, high }, (text) => parseQuantity(text, dimension, { low, high }));

export const whole = (low: number, high: number): Read<number> =>
  from({ is: 'whole', low, high }, (text) => parseWhole(text, low, high));

export const yesNo = (): Read<boolean> =>
  from({ is: 'yesNo' }, (text) => {
    if (/^(yes|true|on)$/i.test(text)) return { value: true };
    if (/^(no|false|off)$/i.test(text)) return { value: false };
    return { complaint: { text: `"${text}" is neither yes nor no`, hint: 'write yes or no' } };
  });

/** One of some words. `spellings` are taken for the word they stand for. */
export function word<const W extends string>(words: readonly W[], spellings: Record<string, W> = {}): Read<W> {
  return from({ is: 'word', words, spellings: Object.keys(spellings) }, (text) => {
    const found =
      words.find((w) => w.toLowerCase() === text.toLowerCase()) ??
      (Object.hasOwn(spellings, text) ? spellings[text] : undefined);
    if (found !== undefined) return { value: found };
    const near = nearest(text, words);
    const hint =
      near === null
        ? `write ${words.length === 1 ? '' : 'one of: '}${words.join(', ')}`
        : `did you mean ${near}? (${words.join(', ')})`;
    return { complaint: { text: `"${text}" is not possible here`, hint } };
  });
}

/** Names become parts of topics and subjects, so that no space, slash, wildcard or control character may be in them. */
export const NAME = /^[A-Za-z0-9_-]{1,32}$/;

/** What YAML calls nothing, and what a template leaves where it had nothing to put in. */
const NOTHING = /^(?:|~|null|Null|NULL)$/;

export const name = (): Read<string> =>
  from({ is: 'name' }, (text) => {
    if (NOTHING.test(text)) return { complaint: { text: 'nothing is written here', hint: 'give it a name' } };
    if (NAME.test(text)) return { value: text };
    const better = text
      .replace(/[^A-Za-z0-9_-]+/g, '-')
      .replace(/^-+|-+$/g, '')
      .slice(0, 32);
    const rule = 'letters A to Z, digits, "_" and "-", 1 to 32 of them';
    return {
      complaint: {
        text: `"${text}" is not a name: ${rule}`,
        hint: better === '' ? 'give it a name' : `write for example ${better}`,
      },
    };
  });

/** Free text for people, printable, not empty. */
export const words = (longest: number): Read<string> =>
  from({ is: 'words', longest }, (text) =>
    !NOTHING.test(text) && text.length <= longest && !/\p{Cc}/u.test(text)
      ? { value: text }
      : {
          complaint: {
            text: `this should be text of 1 to ${longest} printable characters`,
            hint: 'write it on one line',
          },
        },
  );

/** A moment in UTC as toISOString writes it; ms of the wall clock. */
export const instant = (): Read<number> =>
  from({ is: 'instant' }, (text) => {
    const value = INSTANT.test(text) ? Date.parse(text) : Number.NaN;
    if (Number.isFinite(value)) return { value };
    return { complaint: { text: `"${text}" is not a moment in UTC`, hint: 'write for example 2026-03-02T14:03:11Z' } };
  });

const INSTANT = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,3})?Z$/;

/** The name of an environment variable. What is written here by mistake may be the secret itself, and is not repeated. */
export const variable = (): Read<string> =>
  from({ is: 'variable' }, (text) =>
    VARIABLE.test(text) && !NOTHING.test(text)
      ? { value: text }
      : {
          complaint: {
            text: 'this should be the name of an environment variable',
            hint: 'write for example `env: AXLEPOST_PASSWORD`, and set the variable to the secret',
          },
        },
  );

export const VARIABLE = /^[A-Za-z_][A-Za-z0-9_]{0,127}$/;
