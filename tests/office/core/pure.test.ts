import { describe, expect, it } from 'vitest';
import { codeOf, filesIn, importsOf, read } from '../../tidy/sources.js';

/* Two instances that fold the same messages must come to the same row; so the core of the office is given its time, and does no I/O. */

const files = filesIn('office/core', '.ts');

const BANNED =
  /\bDate\.now\b|\bnew Date\(\)|\bperformance\b|\bset(?:Timeout|Interval|Immediate)\b|\brandom\b|\bcrypto\b|\bprocess\b|\bconsole\b|\bfetch\b|\b(?:async|await)\b/;

describe('the core of the office', () => {
  it('is where these checks look, and they see what they look for', () => {
    expect(files).toContain('office/core/fold.ts');
    expect(BANNED.test('const now = Date.now();')).toBe(true);
  });

  it('uses no clock, no random, no I/O', () => {
    const found = files.flatMap((path) =>
      codeOf(read(path))
        .split('\n')
        .filter((line) => BANNED.test(line))
        .map((line) => `${path}: ${line.trim()}`),
    );
    expect(found).toEqual([]);
  });

  it('reaches no package, no node module and no adapter but for types', () => {
    const seen = new Set<string>();
    const reached = new Set<string>();
    const visit = (file: string): void => {
      if (seen.has(file)) return;
      seen.add(file);
      for (const { target, typeOnly } of importsOf(file)) {
        if (typeOnly) continue;
        if (target.endsWith('.ts') && !target.startsWith('adapters/')) visit(target);
        else reached.add(`${file} -> ${target}`);
      }
    };
    files.forEach(visit);
    expect([...reached]).toEqual([]);
  });

  it('its order, which the page imports, brings no other code along', () => {
    expect(importsOf('office/core/order.ts').filter(({ typeOnly }) => !typeOnly)).toEqual([]);
  });
});
