import { spawnSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import { filesIn, PRODUCT, productFiles, read } from './sources.js';

const MOST_LINES = 300;
/** Test files hold tables of cases and expected values. */
const MOST_TEST_LINES = 600;

const linesOf = (path: string): number => read(path).trimEnd().split('\n').length;

describe('lengths', () => {
  it(`files of the program have at most ${MOST_LINES} lines`, () => {
    const long = productFiles().filter((path) => linesOf(path) > MOST_LINES);
    expect(long).toEqual([]);
  });

  it(`test files have at most ${MOST_TEST_LINES} lines`, () => {
    expect(filesIn('tests', '.ts').filter((path) => linesOf(path) > MOST_TEST_LINES)).toEqual([]);
  });

  it('functions have at most 60 lines', () => {
    const { status, stdout, stderr } = lint('tests/tidy/lengths.json');
    expect(`${stdout}${stderr}`).toMatch(/Checked \d{2,} files/);
    expect(status, `${stdout}${stderr}`).toBe(0);
  });
});

function lint(config: string) {
  return spawnSync('node_modules/.bin/biome', ['lint', `--config-path=${config}`, ...PRODUCT], { encoding: 'utf8' });
}
