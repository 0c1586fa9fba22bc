import { describe, expect, it } from 'vitest';
import { codeOf, filesIn, importsOf, isCore, productFiles, read } from './sources.js';

/* The linter draws the same border by the name that is written; here whatever is reached counts, and random numbers too. */

const core = [...filesIn('daemon', '.ts'), ...filesIn('report', '.ts')].filter(isCore);

/** What the core may not touch, with why. */
const BANNED: [RegExp, string][] = [
  [/\bDate\b/, 'time is an argument'],
  [/\bperformance\b/, 'time is an argument'],
  [/\bset(?:Timeout|Interval|Immediate)\b/, 'ticks, not timers'],
  [/\bqueueMicrotask\b/, 'ticks, not timers'],
  [/\bMath\.random\b/, 'same inputs, same events'],
  [/\bcrypto\b/, 'same inputs, same events'],
  [/\bprocess\b/, 'no environment'],
  [/\bconsole\b/, 'effects are returned'],
  [/\bfetch\b/, 'no I/O'],
  [/\b(?:async|await)\b/, 'a tick is decided at once'],
];

function found(text: string, patterns: readonly [RegExp, string][]): string[] {
  const lines = codeOf(text).split('\n');
  return lines.flatMap((line, i) => {
    const hit = patterns.find(([pattern]) => pattern.test(line));
    return hit === undefined ? [] : [`line ${i + 1}: ${line.trim()} (${hit[1]})`];
  });
}

const foundIn = (path: string, patterns: readonly [RegExp, string][]): string[] =>
  found(read(path), patterns).map((line) => `${path} ${line}`);

describe('the pure core', () => {
  it('is where these checks look', () => {
    expect(core).toContain('daemon/pipeline.ts');
    expect(core).toContain('daemon/alerts/book.ts');
    expect(core).not.toContain('daemon/cli.ts');
  });

  it('the checks see what they look for, and not words in comments and strings', () => {
    expect(found('const x = Math.random();', BANNED)).toHaveLength(1);
    expect(found('const now = Date.now();', BANNED)).toHaveLength(1);
    expect(found("/* Date */ const name = 'Time/Date'; // setTimeout", BANNED)).toEqual([]);
  });

  it('uses no clock, no random, no I/O', () => {
    expect(core.flatMap((path) => foundIn(path, BANNED))).toEqual([]);
  });

  it('reaches no adapter, no node module and no package, by whatever way', () => {
    const reached = new Set<string>();
    const seen = new Set<string>();
    const visit = (file: string, way: string): void => {
      if (seen.has(file)) return;
      seen.add(file);
      for (const { target, typeOnly } of importsOf(file)) {
        if (typeOnly) continue;
        const next = `${way} -> ${target}`;
        if (target.endsWith('.ts') && !target.startsWith('adapters/')) visit(target, next);
        else reached.add(next);
      }
    };
    for (const path of core) visit(path, path);
    expect([...reached]).toEqual([]);
    expect(seen.size).toBeGreaterThanOrEqual(core.length);
  });

  it('names no adapter, not even for its types', () => {
    const named = core.flatMap((path) => importsOf(path).map(({ target }) => `${path} -> ${target}`));
    expect(named.filter((line) => line.includes('-> adapters/'))).toEqual([]);
  });
});

describe('the simulator', () => {
  const files = filesIn('simulator', '.ts');
  const clocks = BANNED.filter(([pattern]) => /random|performance|Timeout|crypto/.test(pattern.source));

  it('takes chance from its seed and time from its scenario', () => {
    const banned: [RegExp, string][] = [...clocks, [/\bDate\.now\b|\bnew Date\(\)/, 'time is an argument']];
    expect(files.flatMap((path) => foundIn(path, banned))).toEqual([]);
  });
});

describe('layers', () => {
  it('config/ and simulator/ import no adapter', () => {
    const wrong = productFiles()
      .filter((path) => path.startsWith('config/') || path.startsWith('simulator/'))
      .flatMap((path) => importsOf(path).map(({ target }) => `${path} -> ${target}`))
      .filter((line) => line.includes('-> adapters/'));
    expect(wrong).toEqual([]);
  });

  it('adapters import no command', () => {
    const wrong = filesIn('adapters', '.ts')
      .flatMap((path) => importsOf(path).map(({ target }) => `${path} -> ${target}`))
      .filter((line) => /-> daemon\/(?:commands\/|cli)/.test(line));
    expect(wrong).toEqual([]);
  });

  it('nothing of the program imports a test', () => {
    const wrong = productFiles().flatMap((path) =>
      importsOf(path)
        .filter(({ target }) => target.startsWith('tests/'))
        .map(({ target }) => `${path} -> ${target}`),
    );
    expect(wrong).toEqual([]);
  });
});
