import { expect, it } from 'vitest';
import { filesIn, importsOf, productFiles } from './sources.js';

/* The version of better-sqlite3 that does not fit this Node ends the process when a statement is freed, now and then. */

it('SQLite is taken from the one file that knows which version fits', () => {
  const files = [...productFiles(), ...filesIn('tests', '.ts')];
  const direct = files.filter((path) =>
    importsOf(path).some(({ target, typeOnly }) => /^better-sqlite3(?:-13)?$/.test(target) && !typeOnly),
  );
  expect(direct).toEqual([]);
});
