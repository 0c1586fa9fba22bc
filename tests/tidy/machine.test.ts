import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';

/* Nothing of the machine that something was written or built on stays in the project. */

const SKIPPED = new Set(['node_modules', 'dist', 'coverage', '.git']);
const TEXT =
  /\.(?:ts|json|yaml|yml|md|ndjson|events|mjs|sh)$|^(?:Dockerfile|LICENSE|run|\.npmrc|\.gitignore|\.dockerignore)$/;

function texts(folder: string): string[] {
  return readdirSync(folder).flatMap((name) => {
    if (SKIPPED.has(name)) return [];
    const path = join(folder, name);
    if (statSync(path).isDirectory()) return texts(path);
    return TEXT.test(name) ? [path] : [];
  });
}

/** Put together from pieces, so that this file does not name them. */
const HOME_FOLDERS = new RegExp(`(?:^|[^\\w.~])/(?:${['home/\\w', 'root/\\w', 'Users/\\w', 'work/\\w'].join('|')})`);

interface Lock {
  lockfileVersion: number;
  packages: Record<string, { resolved?: string; link?: boolean; integrity?: string }>;
}
const lock = JSON.parse(readFileSync('package-lock.json', 'utf8')) as Lock;

describe('the lock file', () => {
  it('names no address to download from', () => {
    const named = Object.entries(lock.packages).filter(([, entry]) => entry.resolved !== undefined);
    expect(named.map(([name]) => name)).toEqual([]);
  });

  it('has a checksum for every package', () => {
    const without = Object.entries(lock.packages).filter(
      ([name, { integrity }]) => name !== '' && integrity === undefined,
    );
    expect(Object.keys(lock.packages).length).toBeGreaterThan(100);
    expect(without.map(([name]) => name)).toEqual([]);
  });

  it('stays so: npm is told to leave them out', () => {
    expect(readFileSync('.npmrc', 'utf8')).toContain('omit-lockfile-registry-resolved=true');
  });
});

describe('text files', () => {
  it('name no folder of somebody’s machine', () => {
    const named = texts('.').flatMap((path) => {
      const lines = readFileSync(path, 'utf8').split('\n');
      return lines.filter((line) => HOME_FOLDERS.test(line)).map((line) => `${path}: ${line.trim()}`);
    });
    expect(named).toEqual([]);
  });

  it('the check sees what it looks for', () => {
    expect(HOME_FOLDERS.test(`see /${'home'}/someone/x`)).toBe(true);
    expect(HOME_FOLDERS.test('tests/home/x and ../work/x')).toBe(false);
  });
});
