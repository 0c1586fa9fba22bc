import { describe, expect, it } from 'vitest';
import type { ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import { eventsCsv } from '../../../office/web/csv.js';
import { startRig } from './support/board.js';
import { anEvent } from './support/source.js';

/** A second reading of RFC 4180, character by character. */
function read(text: string): string[][] {
  const rows: string[][] = [];
  let row: string[] = [];
  for (let at = 0; at < text.length; ) {
    if (text[at] !== '"') throw new Error(`a cell without quotes at ${at}`);
    let cell = '';
    for (at++; text[at] !== '"' || text[at + 1] === '"'; at++) {
      if (text[at] === '"') at++;
      cell += text[at];
    }
    row.push(cell);
    at++;
    if (text[at] === ',') at++;
    else if (text.startsWith('\r\n', at)) {
      rows.push(row);
      row = [];
      at += 2;
    } else throw new Error(`neither comma nor end of line at ${at}`);
  }
  return rows;
}

function cells(event: ReceivedEvent): Record<string, string> {
  const [names, values] = read(eventsCsv([event]));
  return Object.fromEntries(names!.map((name, i) => [name, values![i]!]));
}

describe('events as CSV', () => {
  it('has one line of names, then one per event, each with as many cells', () => {
    const rows = read(eventsCsv([anEvent, { ...anEvent, seq: 418, note: 'a "b", c' }]));
    expect(rows.map(({ length }) => length)).toEqual([31, 31, 31]);
    expect(rows[0]!.slice(0, 6)).toEqual(['fleet', 'truck', 'trailer', 'store', 'seq', 'at']);
    expect(read(eventsCsv([]))).toEqual([rows[0]]);
  });

  it('has every cell of an event', () => {
    expect(cells(anEvent)).toMatchObject({
      fleet: 'northline',
      truck: 'T-1042',
      seq: '417',
      synced: 'true',
      change: 'taken',
      reason: '',
      quantity: 'leak rate',
      value: '5.4',
      unit: 'kPa/min',
      limit: '3.5',
      code: '',
      who: 'Anna',
      note: 'driver is told',
      speed_kmh: '88.1',
      lat: '41.2',
      cause: '',
    });
    expect(cells({ ...anEvent, measured: { code: 2, text: 'over-stroke' } })).toMatchObject({
      code: 'over-stroke',
      value: '',
    });
    expect(cells({ ...anEvent, measured: { silentS: 640 } })).toMatchObject({ silent_s: '640', unit: '' });
    expect(cells({ ...anEvent, measured: null })).toMatchObject({ silent_s: '', code: '', quantity: '' });
  });

  it.each(['=1+1', '+1', '-1', '@SUM(A1)', '\t=1', '\r=1', '\n=1', '=HYPERLINK("http://x","y")', '＝1+1'])(
    'a text such as %j is no formula',
    (note) => {
      expect(cells({ ...anEvent, note }).note).toBe(`'${note}`);
      expect(cells({ ...anEvent, place: note }).place).toBe(`'${note}`);
    },
  );

  it.each(['a=1', ' =1', '"', '""', ',', 'a\r\nb', "'", 'Zoë 安娜'])('%j stays as it is', (note) => {
    expect(cells({ ...anEvent, note }).note).toBe(note);
  });

  it('numbers stay numbers, also negative ones', () => {
    expect(cells(anEvent).lon).toBe('-96.1');
  });

  it('is a file to be kept, in UTF-8', async () => {
    const { ask, signIn, source } = await startRig();
    const { cookie } = await signIn();
    source.found = [{ ...anEvent, note: '=Zoë' }];
    const { headers, body } = await ask('/events.csv?fleet=northline', { headers: { cookie } });
    expect(headers['content-type']).toBe('text/csv; charset=utf-8; header=present');
    expect(headers['content-disposition']).toBe('attachment; filename="axlepost-events.csv"');
    expect(read(body)[1]).toContain("'=Zoë");
  });
});
