import { describe, expect, it } from 'vitest';
import { MAX_MARKS, markProblem, marksText, readMarks, withMarks } from '../../config/marks.js';
import type { Mark } from '../../config/resolved.js';
import fc from '../support/property.js';
import { printedSeed } from '../support/seed.js';
import { truckOf } from '../support/truck-file.js';

const MARK: Mark = {
  subject: 'tractor/2/left/outer',
  what: 'sensor-bad',
  who: 'the workshop',
  untilMs: Date.UTC(2026, 2, 9, 14, 3, 11, 250),
};

describe('the marks file', () => {
  it('is JSON that says until when in words of ISO 8601', () => {
    expect(JSON.parse(marksText([MARK]))).toEqual({
      v: 1,
      marks: [
        {
          subject: 'tractor/2/left/outer',
          what: 'sensor-bad',
          who: 'the workshop',
          until: '2026-03-09T14:03:11.250Z',
        },
      ],
    });
    expect(JSON.parse(marksText([]))).toEqual({ v: 1, marks: [] });
  });

  it('gives back what was written, whoever marked', () => {
    const subject = fc.constantFrom('tractor/1/left/single', 'trailer/2/right/inner', 'tractor/3/right', 'air/primary');
    // Control characters and U+FFFD, which stands for a damaged file, are refused at the command line.
    const who = fc
      .string({ minLength: 1, maxLength: 30, unit: 'grapheme' })
      .filter((text) => text.length <= 64 && !/[\p{Cc}\uFFFD]/u.test(text) && !/^(?:~|null)$/i.test(text));
    const mark = fc.record({
      subject,
      what: fc.constant('sensor-bad' as const),
      who,
      untilMs: fc.integer({ min: 0, max: Date.UTC(9999, 11, 31) }),
    });
    fc.assert(
      fc.property(fc.array(mark, { maxLength: 20 }), (marks) => {
        expect(readMarks(marksText(marks), 'marks.json')).toEqual({ marks });
      }),
      { numRuns: 200, seed: printedSeed('marks') },
    );
  });

  it('may be written by another hand', () => {
    const text =
      '{"v":1,"marks":[{"until":"2026-03-09T14:03:11Z","who":"x","what":"sensor-bad","subject":"air/supply"}]}';
    const untilMs = Date.UTC(2026, 2, 9, 14, 3, 11);
    expect(readMarks(text, 'm')).toEqual({ marks: [{ subject: 'air/supply', what: 'sensor-bad', who: 'x', untilMs }] });
  });

  const good = marksText([MARK]);
  const BAD: [what: string, text: string, line: string][] = [
    ['an empty file', '', 'm.json:1:1: "the file" should be a map of keys — mark the sensors anew and remove the file'],
    ['half a file', good.slice(0, 60), 'm.json:2:'],
    ['not JSON at all', 'tractor/2/left/outer', 'm.json:1:1: "the file" should be a map of keys'],
    ['a later version', good.replace('"v": 1', '"v": 2'), 'm.json:1:7: v: "2" is not possible here — '],
    ['no version', good.replace('"v": 1, ', ''), 'm.json:1:1: "v" is missing — add v'],
    ['an unknown key', good.replace('"who"', '"by": "x", "who"'), 'm.json:2:57: unknown key "by"'],
    ['another kind of mark', good.replace('sensor-bad', 'wheel-bad'), 'm.json:2:44: what: "wheel-bad" is not possible'],
    [
      'a time in no zone',
      good.replace('.250Z', ''),
      'm.json:2:86: until: "2026-03-09T14:03:11" is not a moment in UTC',
    ],
    ['a day that is none', good.replace('-03-09', '-13-09'), 'm.json:2:86: until: "2026-13-09T14:03:11.250Z" is not a'],
    [
      'a name far too long',
      good.replace('the workshop', 'x'.repeat(65)),
      'm.json:2:63: who: this should be text of 1 to 64',
    ],
    ['far too many', marksText(Array(MAX_MARKS + 1).fill(MARK)), 'm.json:1:19: "marks" has too many entries'],
    ['bytes', '\0\0\0', 'm.json:1:1: this is not plain text in UTF-8'],
  ];
  it.each(BAD)('%s is one line', (_what, text, line) => {
    const { problem, marks } = readMarks(text, 'm.json') as { problem: string; marks?: Mark[] };
    expect(marks).toBeUndefined();
    expect(problem.slice(0, line.length)).toBe(line);
    expect(problem).toMatch(/ — [^\n]+$/);
  });

  it('whatever is in it, there is an answer', () => {
    fc.assert(
      fc.property(fc.nat(good.length), fc.nat(20), fc.string({ maxLength: 6 }), (at, cut, insert) => {
        const result = readMarks(good.slice(0, at) + insert + good.slice(at + cut), 'm.json');
        expect('problem' in result ? result.problem : '').not.toContain('\n');
      }),
      { numRuns: 300, seed: printedSeed('damaged marks') },
    );
  });
});

describe('a subject that is marked', () => {
  const truck = truckOf();

  it.each(['tractor/1/left/single', 'trailer/2/right/inner', 'tractor/3/right', 'air/primary', 'air/service'])(
    '%s can be',
    (subject) => {
      expect(markProblem(truck, subject)).toBeNull();
    },
  );

  it.each([
    ['tractor/2/left/outr', 'did you mean tractor/2/left/outer?'],
    ['tractor/2/left/pair', 'did you mean tractor/2/left'],
    ['trailer/3/left/outer', 'did you mean trailer/'],
    ['air/secundary', 'did you mean air/secondary?'],
    ['layout', 'possible: tractor/1/left/single, '],
    ['', 'possible: '],
  ])('%s cannot: %s', (subject, hint) => {
    const problem = markProblem(truck, subject)!;
    expect(problem).toContain(`this truck has no "${subject}" — `);
    expect(problem).toContain(hint);
  });
});

describe('the configuration with marks', () => {
  const truck = truckOf();
  const other: Mark = { ...MARK, subject: 'air/primary' };

  it('keeps its hash without any', () => {
    expect(withMarks(truck, [])).toEqual(truck);
  });

  it('has another hash with each mark and each end, whoever made it', () => {
    const hash = (...marks: Mark[]) => withMarks(truck, marks).hash;
    const all = [truck.hash, hash(MARK), hash(other), hash({ ...MARK, untilMs: MARK.untilMs + 1 }), hash(MARK, other)];
    expect(new Set(all).size).toBe(all.length);
    expect(hash({ ...MARK, who: 'somebody else' })).toBe(hash(MARK));
    expect(hash(other, MARK)).toBe(hash(MARK, other));
  });

  it('is another one: the old stays as it was', () => {
    expect(withMarks(truck, [MARK]).marks).toEqual([MARK]);
    expect(truck.marks).toEqual([]);
    expect(withMarks(withMarks(truck, [MARK]), [])).toEqual(truck);
  });
});
