import { describe, expect, it } from 'vitest';
import { shown } from '../../../config/show.js';
import type { EventMessage } from '../../../daemon/alerts/message.js';
import { measuredWords } from '../../../daemon/alerts/words.js';
import { Progress } from '../../../daemon/commands/progress.js';
import { timelineEntry, wrapped } from '../../../daemon/commands/timeline.js';
import { EXAMPLE_JSON } from '../alerts/drafts.js';

const SI = { pressure: 'kPa', temperature: '°C', position: 'exact' } as const;
const US = { pressure: 'psi', temperature: '°F', position: 'exact' } as const;
const BAR = { pressure: 'bar', temperature: '°C', position: 'exact' } as const;

describe('units for people', () => {
  // 1 psi = 6.894757 kPa, 1 bar = 100 kPa, °F = 1.8 °C + 32 (NIST SP 811, appendix B)
  it.each([
    [689.5, 'kPa', US, '100 psi'],
    [689.5, 'kPa', BAR, '6.9 bar'],
    [689.5, 'kPa', SI, '690 kPa'],
    [5.4, 'kPa/min', US, '0.8 psi/min'],
    [5.4, 'kPa/min', BAR, '0.05 bar/min'],
    [5.4, 'kPa/day', SI, '5.4 kPa/day'],
    [100, '°C', US, '212 °F'],
    [-40, '°C', US, '-40 °F'],
    [-0.2, '°C', SI, '0 °C'],
    [0.885, 'share', SI, '89 %'],
    // 1 in = 25.4 mm
    [57.15, 'mm', US, '2.25 in'],
    [57.2, 'mm', SI, '57.2 mm'],
    [50.8, 'mm', BAR, '50.8 mm'],
    [1.02, 'mm/day', US, '0.040 in/day'],
    [1.02, 'mm/day', SI, '1.02 mm/day'],
    [0.3, 'd', US, '0.3 d'],
  ] as const)('%f %s', (value, unit, show, text) => {
    expect(shown(value, unit, show)).toBe(text);
  });
});

describe('what was measured', () => {
  it.each([
    [null, false, ''],
    [{ silentS: 640 }, false, 'silent for 11 min'],
    [{ silentS: 119 }, false, 'silent for 119 s'],
    [{ silentS: 1 }, true, 'heard again'],
    [{ code: 2, text: 'over-stroke', of: '2 of 3' }, false, 'over-stroke, 2 of 3 applications'],
    [{ code: 1, text: 'red stop lamp on' }, false, 'red stop lamp on'],
    [{ code: 1, text: 'red stop lamp on' }, true, ''],
    [
      { quantity: 'cold pressure', value: 489.5, limit: 551.6, unit: 'kPa', quality: 'good' },
      false,
      'cold pressure 71 psi (limit 80 psi)',
    ],
    [
      { quantity: 'cold pressure', value: 489.5, unit: 'kPa', quality: 'disputed' },
      false,
      'cold pressure 71 psi, senders disagree',
    ],
  ] as const)('%j', (measured, ended, words) => {
    expect(measuredWords(measured, US, ended)).toBe(words);
  });
});

describe('an entry of the timeline', () => {
  const event = JSON.parse(EXAMPLE_JSON) as EventMessage;
  const advice =
    'Losing air fast. Stop as soon as it is safe, away from traffic; do not drive on it, not even to the next exit.';
  const entry = (columns: number, more: Partial<EventMessage> = {}, colour = false): string =>
    timelineEntry({ ...event, advice, ...more }, US, { colour, columns });

  it.each([30, 40, 60, 79, 80, 100, 200])('fits into %i columns and loses no word', (columns) => {
    const lines = entry(columns).split('\n');
    for (const line of lines) expect(line.length).toBeLessThanOrEqual(Math.max(columns, 32));
    expect(lines.join(' ').replaceAll(/\s+/g, ' ')).toContain(advice);
    const margin = columns < 80 ? 2 : 32;
    for (const line of lines.slice(1)) expect(line).toMatch(new RegExp(`^ {${margin}}\\S`));
  });

  it('says what is to come, in one word where it is certain', () => {
    expect(entry(200)).toContain('reaches 80 % of cold pressure at 14:28, between 14:22 and 14:36');
    const forecast = {
      what: 'x',
      at: '2026-03-02T14:28:10.000Z',
      from: '2026-03-02T14:28:00.000Z',
      to: '2026-03-02T14:28:50.000Z',
    };
    expect(entry(200, { forecast })).toContain('reaches x about 14:28\n');
  });

  it('says the day where it takes days', () => {
    const days = (at: string, from: string, to: string) => {
      const on = (date: string): string => `2026-03-${date}:28:10.000Z`;
      return entry(200, { at: on('02T14'), forecast: { what: 'x', at: on(at), from: on(from), to: on(to) } });
    };
    expect(days('19T14', '17T14', '24T09')).toContain('reaches x on 2026-03-19, between 2026-03-17 and 2026-03-24\n');
    expect(days('03T09', '03T08', '03T10')).toContain('reaches x at 09:28, between 08:28 and 10:28\n');
    expect(days('03T09', '03T08', '03T11')).toContain('reaches x about 2026-03-03\n');
  });

  it('says that another alert explains it', () => {
    expect(entry(200, { cause: 'T-1042.k3f9q2m1x7ab.2' }).split('\n')[0]).toMatch(
      /losing air, explained by another alert$/,
    );
  });

  it('colour adds codes and nothing else', () => {
    // biome-ignore lint/suspicious/noControlCharactersInRegex: colour codes are control characters
    expect(entry(100, {}, true).replaceAll(/\u001b\[\d+m/g, '')).toBe(entry(100));
    expect(entry(100)).not.toContain('\u001b');
  });
});

it('a word that is longer than the line stands alone', () => {
  expect(wrapped('a bbbbbbbbbb c', 5, 2)).toBe('a\n  bbbbbbbbbb\n  c');
});

describe('the progress bar', () => {
  function bar(isTTY: boolean, columns = 80) {
    const written: string[] = [];
    let now = 0;
    const progress = new Progress({ isTTY, columns, write: (text) => written.push(text) }, 'replay', () => now);
    return { progress, written, pass: (ms: number) => (now += ms) };
  }

  it('is nothing where there is no terminal', () => {
    const { progress, written } = bar(false);
    progress.update(0.5, '1:00:00');
    progress.end();
    expect(written).toEqual([]);
  });

  it('draws at most ten times a second, the end always, and goes away', () => {
    const { progress, written, pass } = bar(true);
    for (let i = 0; i < 100; i++, pass(10)) progress.update(i / 100, '0:00:00');
    expect(written).toHaveLength(10);
    progress.update(1, '3:00:59');
    expect(written.at(-1)).toBe(`\r\u001b[Kreplay [${'#'.repeat(40)}] 100 % 3:00:59`);
    progress.end();
    progress.end();
    expect(written.slice(11)).toEqual(['\r\u001b[K']);
  });

  it('has no share for a pipe', () => {
    const { progress, written } = bar(true);
    progress.update(null, '0:10:00');
    expect(written).toEqual(['\r\u001b[Kreplay 0:10:00']);
  });

  it.each([40, 60, 80, 200])('fits into %i columns', (columns) => {
    const { progress, written } = bar(true, columns);
    progress.update(1, '13:00:59');
    expect(written[0]!.length - '\r\u001b[K'.length).toBeLessThan(columns);
  });
});
