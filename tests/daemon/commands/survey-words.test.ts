import { describe, expect, it } from 'vitest';
import { TIE, table, wrap } from '../../../daemon/commands/survey-table.js';
import { interval, range, share, signalWords, time } from '../../../daemon/commands/survey-words.js';
import type { SignalReport } from '../../../daemon/survey/report.js';

const KPA = { pressure: 'kPa', temperature: '°C', position: 'exact' } as const;
const US = { pressure: 'psi', temperature: '°F', position: 'exact' } as const;

describe('words of a survey', () => {
  it('intervals have one unit, and no range where it says nothing', () => {
    expect(interval({ medianMs: 20, fromMs: 19, toMs: 21 })).toBe('20 (19 to 21) ms');
    expect(interval({ medianMs: 1000, fromMs: 1000, toMs: 1000 })).toBe('1000 ms');
    expect(interval({ medianMs: 10_024, fromMs: 9952, toMs: 10_080 })).toBe('10.02 (9.95 to 10.08) s');
    expect(interval({ medianMs: null, fromMs: null, toMs: null })).toBe('once');
    expect([time(0), time(9_999), time(599_999), time(600_000)]).toEqual(['0 ms', '9999 ms', '600.0 s', '10 min']);
  });

  it('a share is 0 or 100 % only when it is', () => {
    expect([0, 0.001, 0.5, 0.999, 1].map(share)).toEqual(['0 %', '<1 %', '50 %', '>99 %', '100 %']);
  });

  it('values are in the units of the truck file', () => {
    const values = { last: 690, least: 620.5, most: 690 };
    expect(range(values, 'kPa', KPA).replaceAll(TIE, ' ')).toBe('621 to 690, last 690 kPa');
    expect(range(values, 'kPa', US).replaceAll(TIE, ' ')).toBe('90 to 100, last 100 psi');
    expect(range({ last: 20, least: 20, most: 20 }, '°C', US).replaceAll(TIE, ' ')).toBe('68 °F');
    expect(range({ last: null, least: null, most: null }, 'kPa', US)).toBe('');
  });

  it('a position that the truck file keeps back is said to be kept back', () => {
    const latitude: SignalReport = {
      ...{ spn: 584, name: 'Latitude', unit: 'deg', good: 1, absent: 0, error: 0, other: 0 },
      ...{ last: null, least: null, most: null, plausible: true, codes: [], text: null },
    };
    expect(signalWords(latitude, KPA)).toBe('not shown, as the truck file says');
    expect(signalWords({ ...latitude, last: 47.15 }, KPA)).toBe('last 47.1500 deg');
    expect(signalWords({ ...latitude, good: 0.5, absent: 0.5, last: 47.15 }, KPA)).toBe(
      'last 47.1500 deg; not available 50 %',
    );
  });
});

describe('tables', () => {
  it('break the last column between words, and never between a value and its unit', () => {
    expect(wrap(`last 720${TIE}kPa or more`, 8)).toEqual(['last', '720 kPa', 'or more']);
    expect(table([{ title: 'a', right: true }, { title: 'words' }], [['1000', 'one two three four five']], 18)).toEqual(
      ['   a  words', '1000  one two', '      three four', '      five'],
    );
  });
});
