import { beforeAll, expect, test } from 'vitest';
import { CELLS } from '../../../daemon/commands/history-cells.js';
import { SI_SHOW } from '../../../daemon/commands/history-settings.js';
import { wheelColumns } from '../../../daemon/commands/history-wheels.js';
import { plainSql } from '../../adapters/store/files.js';
import { replayHere, SHIFT, temp } from './helpers.js';
import { history, parseCsv } from './history-helpers.js';

/* Strokes and states of each brake as columns, against plain SQL on the JSON of the public view. */

const path = temp('shift.db');
beforeAll(async () => {
  expect((await replayHere([SHIFT], { store: path })).code).toBe(0);
}, 60_000);

const WORDS = ['ok', 'non-functioning', 'over-stroke', 'dragging'];
const TOLD = `SELECT a.id, w.key AS wheel, w.value ->> '$.strokeMm' AS stroke, w.value ->> '$.code' AS code
  FROM brake_applications a, json_each(a.wheels) w`;

test('CSV has a stroke and a state per wheel end that occurs, after the columns of the view', async () => {
  const { code, out } = await history(['applications'], { store: [path], format: 'csv' });
  expect(code).toBe(0);
  const [head, ...rows] = parseCsv(out) as [string[], ...string[][]];
  const first = head.indexOf('end_t') + 1;
  const told = plainSql(path, TOLD);
  const wheels = [...new Set(told.map(({ wheel }) => String(wheel)))].sort();
  expect(wheels.length).toBeGreaterThan(2);
  expect(head.slice(first)).toEqual(wheels.flatMap((wheel) => [`stroke_mm ${wheel}`, `state ${wheel}`]));
  const cells = new Map(rows.flatMap((row) => head.map((name, i) => [`${row[1]} ${name}`, row[i]] as const)));
  for (const { id, wheel, stroke, code } of told) {
    expect(cells.get(`${id} stroke_mm ${wheel}`)).toBe(stroke === null ? '' : String(stroke));
    expect(cells.get(`${id} state ${wheel}`)).toBe(code === null ? '' : WORDS[Number(code)]);
  }
  const filled = rows.flatMap((row) => row.slice(first)).filter((cell) => cell !== '');
  expect(filled).toHaveLength(told.flatMap(({ stroke, code }) => [stroke, code]).filter((one) => one !== null).length);
});

test('of one brake alone only its columns; JSON lines have none', async () => {
  const options = { store: [path], subject: ['trailer/1/right'] };
  const [head] = parseCsv((await history(['applications'], { ...options, format: 'csv' })).out);
  expect(head!.slice(head!.indexOf('end_t') + 1)).toEqual(['stroke_mm trailer/1/right', 'state trailer/1/right']);
  expect((await history(['applications'], { ...options, format: 'ndjson' })).out).not.toContain('stroke_mm');
});

test('axles are in the order of their numbers', () => {
  expect(wheelColumns(new Set(['t/10/left', 't/2/left']))).toEqual([
    ...['stroke_mm t/2/left', 'state t/2/left', 'stroke_mm t/10/left', 'state t/10/left'],
  ]);
});

test('people are told the greatest stroke with its wheel, where strokes are known', () => {
  const cell = CELLS.applications.find(({ title }) => title === 'brakes')!;
  const told = (strokes: (number | null)[]): string => {
    const wheels = Object.fromEntries(strokes.map((strokeMm, n) => [`tractor/${n + 1}/left`, { code: 0, strokeMm }]));
    return cell.of({ wheels: JSON.stringify(wheels) }, SI_SHOW);
  };
  expect(told([31, 47, null])).toBe('3 ok, greatest stroke 47.0 mm tractor/2/left');
  expect(told([null, null, 12])).toBe('3 ok, greatest stroke 12.0 mm tractor/3/left');
  expect(told([null, null, null])).toBe('3 ok');
});
