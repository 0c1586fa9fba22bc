import { randomBytes } from 'node:crypto';
import { readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { copyFile } from '../../../adapters/store/copy-file.js';
import { tempDir } from './helpers.js';

describe('a copy of a file that somebody may be writing', () => {
  test.each([0, 1, 2 ** 20, 3 * 2 ** 20 + 17])('of %d bytes is the file, over what was there', (length) => {
    const [path, copy] = [join(tempDir(), 'a'), join(tempDir(), 'b')];
    writeFileSync(path, randomBytes(length));
    writeFileSync(copy, 'before '.repeat(1000));
    copyFile(path, copy);
    expect(readFileSync(copy).equals(readFileSync(path))).toBe(true);
  });

  // Files of sysfs say that they have 4,096 bytes and end sooner, as one that was cut off while it is copied.
  test('ends where the file ends, though it said to be longer', () => {
    const path = '/sys/devices/system/cpu/online';
    const text = readFileSync(path, 'latin1');
    expect(statSync(path).size).toBeGreaterThan(text.length);
    const copy = join(tempDir(), 'copy');
    copyFile(path, copy);
    expect(readFileSync(copy, 'latin1')).toBe(text);
  });

  test('of what is not there says what the system says', () => {
    expect(() => copyFile(join(tempDir(), 'none'), join(tempDir(), 'copy'))).toThrow(/ENOENT/);
  });
});
