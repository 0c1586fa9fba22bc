import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { page, tableRows } from './pages.js';

/** Titles of the tests and groups in a file; the quotes of a title may be of any kind. */
const titles = (file: string): string[] =>
  [...readFileSync(file, 'utf8').matchAll(/\b(?:it|test|describe)(?:\.\w+(?:\([^)]*\))?)*\(\s*(['"`])(.*?)\1/g)].map(
    ([, , title]) => title!,
  );

describe('GUARANTEES.md', () => {
  const rows = tableRows(page('GUARANTEES.md'));

  it('names a test that is there for every promise', () => {
    const without = rows.filter(([, shown]) => {
      const [, file, title] = /^`([\w./-]+)`: "(.+)"$/.exec(shown!) ?? [];
      return file === undefined || !existsSync(file) || !titles(file).includes(title!);
    });
    expect(without).toEqual([]);
    expect(rows.length).toBeGreaterThan(15);
  });

  it('makes each promise once', () => {
    expect(new Set(rows.map(([promise]) => promise)).size).toBe(rows.length);
  });
});
