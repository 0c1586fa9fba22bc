import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { MarksFile, marksPath } from '../../../adapters/host/marks-file.js';
import type { Mark } from '../../../config/resolved.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-marks-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const MARK: Mark = { subject: 'tractor/2/left/outer', what: 'sensor-bad', who: 'J. Doe', untilMs: 1_772_989_200_000 };
let files = 0;
const fresh = (): MarksFile => new MarksFile(marksPath(join(folder, `${++files}.db`)));

describe('the marks file', () => {
  it('that is not there is no mark and no problem, and nothing has changed after that was seen', () => {
    const file = fresh();
    expect(file.changed()).toBe(true);
    expect(file.read()).toBeNull();
    expect(file.changed()).toBe(false);
  });

  it('gives back what was written; a reader sees each change once', () => {
    const file = fresh();
    const reader = new MarksFile(file.path);
    reader.read();
    file.write([MARK]);
    expect(reader.changed()).toBe(true);
    expect(reader.read()).toEqual({ marks: [MARK] });
    expect(reader.changed()).toBe(false);
    // The same length: only inode and time differ.
    file.write([{ ...MARK, who: 'J. Roe' }]);
    expect(reader.changed()).toBe(true);
    expect(reader.read()).toEqual({ marks: [{ ...MARK, who: 'J. Roe' }] });
    rmSync(file.path);
    expect(reader.changed()).toBe(true);
    expect(reader.read()).toBeNull();
    expect(reader.changed()).toBe(false);
  });

  it('leaves nothing else behind, and everybody may read it', () => {
    const file = fresh();
    file.write([MARK]);
    file.write([]);
    expect(readdirSync(folder).filter((name) => name.startsWith(`${files}.db`))).toEqual([`${files}.db.marks.json`]);
    expect(statSync(file.path).mode & 0o777).toBe(0o644);
  });

  it.each([
    ['cut short', '{"v": 1, "marks": [{"subject": "tractor/2/le'],
    ['of another kind', '{"v": 1, "signs": []}'],
    ['empty', ''],
    ['binary', '\u0000\u0001\u0002'],
    ['too long', ' '.repeat(300_000)],
  ])('%s: one line that names it, and nothing is thrown', (_what, text) => {
    const file = fresh();
    writeFileSync(file.path, text);
    const read = file.read();
    expect(read?.problem).toMatch(/^[^\n]+\.marks\.json[^\n]+ — [^\n]+$/);
    expect(file.changed()).toBe(false);
  });

  it('that is a folder, or below a file, is a problem and no exception', () => {
    const file = fresh();
    mkdirSync(file.path);
    expect(file.read()?.problem).toContain(file.path);
    expect(() => file.changed()).not.toThrow();
    writeFileSync(join(folder, 'plain'), '');
    const below = new MarksFile(join(folder, 'plain', 'x.marks.json'));
    expect(below.read()?.problem).toContain('ENOTDIR');
    expect(below.changed()).toBe(false);
  });

  it('that cannot be written throws, and the old one stays', () => {
    const file = fresh();
    file.write([MARK]);
    mkdirSync(`${file.path}.${process.pid}.new`);
    expect(() => file.write([])).toThrow();
    rmSync(`${file.path}.${process.pid}.new`, { recursive: true });
    expect(file.read()).toEqual({ marks: [MARK] });
    expect(existsSync(`${file.path}.${process.pid}.new`)).toBe(false);
  });
});
