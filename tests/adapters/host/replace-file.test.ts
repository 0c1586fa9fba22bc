import {
  chmodSync,
  lstatSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { replaceFile } from '../../../adapters/host/replace-file.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-replace-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const at = (name: string): string => join(folder, name);
const modeOf = (path: string): number => statSync(path).mode & 0o777;

describe('replaceFile', () => {
  it('makes a file that everybody may read, or that of the old one', () => {
    replaceFile(at('new'), 'one');
    chmodSync(at('new'), 0o640);
    replaceFile(at('new'), 'two');
    expect({ text: readFileSync(at('new'), 'utf8'), mode: modeOf(at('new')) }).toEqual({ text: 'two', mode: 0o640 });
    replaceFile(at('new'), 'three', 0o600);
    expect(modeOf(at('new'))).toBe(0o600);
  });

  it('a reader that has the old file open goes on reading it: it is replaced, not written over', () => {
    writeFileSync(at('read'), 'old');
    const { ino } = statSync(at('read'));
    replaceFile(at('read'), 'new');
    expect(statSync(at('read')).ino).not.toBe(ino);
  });

  it('follows a link, and leaves it one', () => {
    writeFileSync(at('target'), 'old');
    symlinkSync('target', at('link'));
    replaceFile(at('link'), 'new');
    expect(lstatSync(at('link')).isSymbolicLink()).toBe(true);
    expect(readFileSync(at('target'), 'utf8')).toBe('new');
  });

  it('what cannot be replaced stays, and nothing is left beside it', () => {
    mkdirSync(at('busy/inside'), { recursive: true });
    expect(() => replaceFile(at('busy'), 'text')).toThrow(/EISDIR|ENOTEMPTY|EEXIST/);
    expect(() => replaceFile(at('nowhere/file'), 'text')).toThrow(/ENOENT/);
    expect(readdirSync(folder).filter((name) => name.endsWith('.new'))).toEqual([]);
    expect(statSync(at('busy/inside')).isDirectory()).toBe(true);
  });
});
