import type { z } from 'zod';
import { type Finding, suggest } from './problems.js';
import { EXAMPLES } from './schema.js';

type Issue = z.core.$ZodIssue;

/** What a missing entry could look like, by its last key. */
type Examples = Readonly<Record<string, string>>;

/** The schema's issues as findings in our own words. `tree`: what was parsed, to tell a missing entry from a wrong one. */
export function findings(
  issues: readonly Issue[],
  path: readonly PropertyKey[],
  tree: unknown,
  examples: Examples = EXAMPLES,
): Finding[] {
  return issues.flatMap((issue) => {
    const here = [...path, ...issue.path];
    return fromIssue(issue, here, valueAt(tree, issue.path), examples);
  });
}

function fromIssue(issue: Issue, path: PropertyKey[], value: unknown, examples: Examples): Finding[] {
  const last = String(path.at(-1) ?? 'the file');
  switch (issue.code) {
    case 'custom':
      return [{ path, text: `${last}: ${issue.message}`, hint: String(issue.params?.hint ?? '') }];
    case 'unrecognized_keys':
      return issue.keys.map((key) => unknownKey([...path, key], issue.message.split(' ')));
    case 'invalid_type':
      return [wrongKind(issue.expected, path, last, value, examples)];
    case 'too_small':
    case 'too_big':
      return [size(issue, path, last, examples)];
    case 'invalid_key':
      return [{ path, key: true, text: `"${last}" is not a sender`, hint: SENDER }];
    default:
      return [{ path, text: `${last}: ${issue.message}`, hint: '' }];
  }
}

const SENDER = 'write bus name, slash, source address in decimal, for example "main/51"';

export function unknownKey(path: readonly PropertyKey[], known: readonly string[]): Finding {
  const key = String(path.at(-1));
  const text = `unknown ${path.length === 2 && path[0] === 'rules' ? 'rule' : 'key'} "${key}"`;
  const hint = /^\d/.test(key)
    ? 'a comma begins a new entry; write decimals with a point, and quotes around text that has a comma'
    : suggest(key, known, 'known here');
  return { path, key: true, text, hint };
}

/** A copy of a tree without the entries that issues are about, so that the rest of a section can still be looked at. */
export function without(tree: unknown, issues: readonly Issue[]): unknown {
  const copy = structuredClone(tree);
  for (const issue of issues) {
    const keys = issue.code === 'unrecognized_keys' ? issue.keys.map((key) => [...issue.path, key]) : [issue.path];
    for (const path of keys) {
      const parent = valueAt(copy, path.slice(0, -1));
      if (path.length > 0 && typeof parent === 'object' && parent !== null && !Array.isArray(parent)) {
        delete (parent as Record<PropertyKey, unknown>)[path.at(-1)!];
      }
    }
  }
  return copy;
}

const exampleOf = (key: string, examples: Examples): string | undefined =>
  Object.hasOwn(examples, key) ? examples[key] : undefined;

const KINDS: Record<string, string> = {
  string: 'one value',
  object: 'a map of keys',
  record: 'a map of keys',
  array: 'a list',
};

function wrongKind(expected: string, path: PropertyKey[], last: string, value: unknown, examples: Examples): Finding {
  const example = exampleOf(last, examples);
  if (value === undefined) {
    return {
      path,
      text: `"${last}" is missing`,
      hint: example === undefined ? `add ${last}` : `add for example \`${example}\``,
    };
  }
  const hint =
    example === undefined ? (expected === 'string' ? 'write a single value' : '') : `write for example \`${example}\``;
  return { path, text: `"${last}" should be ${KINDS[expected] ?? expected}`, hint };
}

function size(
  issue: Issue & { code: 'too_small' | 'too_big' },
  path: PropertyKey[],
  last: string,
  examples: Examples,
): Finding {
  const example = exampleOf(last, examples);
  return issue.code === 'too_small'
    ? {
        path,
        text: `"${last}" is empty`,
        hint: example === undefined ? 'add one' : `write for example \`${example}\``,
      }
    : { path, text: `"${last}" has too many entries`, hint: `at most ${issue.maximum} are possible` };
}

function valueAt(tree: unknown, path: readonly PropertyKey[]): unknown {
  return path.reduce<unknown>((node, step) => (node as Record<PropertyKey, unknown> | null | undefined)?.[step], tree);
}
