import type { z } from 'zod';
import { type Finding, suggest } from './problems.js';
import { EXAMPLES } from './schema.js';

type Issue = z.core.$ZodIssue;

/** The schema's issues as findings in our own words. `tree`: what was parsed, to tell a missing entry from a wrong one. */
export function findings(issues: readonly Issue[], path: readonly PropertyKey[], tree: unknown): Finding[] {
  return issues.flatMap((issue) => {
    const here = [...path, ...issue.path];
    return fromIssue(issue, here, valueAt(tree, issue.path));
  });
}

function fromIssue(issue: Issue, path: PropertyKey[], value: unknown): Finding[] {
  const last = String(path.at(-1) ?? 'the file');
  switch (issue.code) {
    case 'custom':
      return [{ path, text: `${last}: ${issue.message}`, hint: String(issue.params?.hint ?? '') }];
    case 'unrecognized_keys':
      return issue.keys.map((key) => unknownKey([...path, key], issue.message.split(' ')));
    case 'invalid_type':
      return [wrongKind(issue.expected, path, last, value)];
    case 'too_small':
    case 'too_big':
      return [size(issue, path, last)];
    case 'invalid_key':
      return issue.issues.flatMap((inner) => badKey(inner, path, last));
    default:
      return [{ path, text: `${last}: ${issue.message}`, hint: '' }];
  }
}

export function unknownKey(path: PropertyKey[], known: readonly string[]): Finding {
  const key = String(path.at(-1));
  return { path, key: true, text: `unknown key "${key}"`, hint: suggest(key, known, 'known here') };
}

function badKey(issue: z.core.$ZodRawIssue | Issue, path: PropertyKey[], last: string): Finding[] {
  if (issue.code === 'invalid_value') {
    return [
      {
        path,
        key: true,
        text: `unknown rule "${last}"`,
        hint: suggest(last, (issue.values as string[]) ?? [], 'rules'),
      },
    ];
  }
  const text = `"${last}" is not a sender`;
  return [{ path, key: true, text, hint: 'write bus name, slash, source address in decimal, for example "main/51"' }];
}

const KINDS: Record<string, string> = {
  string: 'one value',
  object: 'a map of keys',
  record: 'a map of keys',
  array: 'a list',
};

function wrongKind(expected: string, path: PropertyKey[], last: string, value: unknown): Finding {
  const example = EXAMPLES[last];
  if (value === undefined) {
    return {
      path,
      text: `"${last}" is missing`,
      hint: example === undefined ? `add ${last}` : `add for example "${example}"`,
    };
  }
  const hint =
    example === undefined ? (expected === 'string' ? 'write a single value' : '') : `write for example "${example}"`;
  return { path, text: `"${last}" should be ${KINDS[expected] ?? expected}`, hint };
}

function size(issue: Issue & { code: 'too_small' | 'too_big' }, path: PropertyKey[], last: string): Finding {
  return issue.code === 'too_small'
    ? {
        path,
        text: `"${last}" is empty`,
        hint: EXAMPLES[last] === undefined ? 'add one' : `write for example "${EXAMPLES[last]}"`,
      }
    : { path, text: `"${last}" has too many entries`, hint: `at most ${issue.maximum} are possible` };
}

function valueAt(tree: unknown, path: readonly PropertyKey[]): unknown {
  return path.reduce<unknown>((node, step) => (node as Record<PropertyKey, unknown> | null | undefined)?.[step], tree);
}
