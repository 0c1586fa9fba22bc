import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { readMarks } from '../../../config/marks.js';
import type { Mark } from '../../../config/resolved.js';
import { Failure } from '../../../daemon/commands/failure.js';
import { type MarkOptions, markCommand } from '../../../daemon/commands/mark.js';
import { LAYOUT } from '../../support/truck-file.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-mark-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** 2026-03-02T14:00:00Z */
const NOW = 1_772_460_000_000;
const DAY = 86_400_000;
const OUTER = 'tractor/2/left/outer';
let trucks = 0;

/** A truck of its own, and `mark` on it. */
function truck(rules = '') {
  const store = join(folder, `${++trucks}.db`);
  const path = join(folder, `${trucks}.yaml`);
  writeFileSync(path, `${LAYOUT}store: {path: ${store}}\n${rules}`);
  const file = `${store}.marks.json`;
  function mark(subject?: string, what?: string, options: Partial<MarkOptions> = {}, nowMs = NOW) {
    let [out, err, code] = ['', '', 0];
    const console = {
      out: { write: (text: string) => (out += text) },
      err: { write: (text: string) => (err += text) },
    };
    try {
      code = markCommand(subject, what, { config: path, ...options }, console, nowMs);
    } catch (error) {
      if (!(error instanceof Failure)) throw error;
      [code, err] = [error.exitCode, error.message];
    }
    return { code, out, err };
  }
  const marks = (): Mark[] => {
    const read = readMarks(readFileSync(file, 'utf8'), file);
    if (read.problem !== undefined) throw new Error(read.problem);
    return read.marks;
  };
  return { mark, file, marks };
}

const GOOD = { days: '7', who: 'J. Doe' };

describe('mark', () => {
  it('writes the mark beside the store and says what is not judged, and until when', () => {
    const { mark, marks } = truck();
    const { code, out } = mark(OUTER, 'sensor-bad', GOOD);
    expect(code).toBe(0);
    expect(marks()).toEqual([{ subject: OUTER, what: 'sensor-bad', who: 'J. Doe', untilMs: NOW + 7 * DAY }]);
    expect(out).toContain('tractor axle 2, left outer tire: sensor-bad until 2026-03-09 14:00 UTC, says J. Doe.');
    for (const rule of ['tire-underinflated', 'tire-losing-air', 'tire-hot', 'tire-sensor-silent']) {
      expect(out).toContain(rule);
    }
    expect(out).toContain('duals-unequal of tractor/2/left/pair');
    expect(out).toContain('check it by hand at each stop');
  });

  it('names no rule that the truck file has turned off', () => {
    const { mark } = truck('rules: {tire-hot: {enabled: no}}\n');
    const { out } = mark(OUTER, 'sensor-bad', GOOD);
    expect(out).not.toContain('tire-hot');
    expect(out).toContain('tire-losing-air');
  });

  it.each([
    ['tractor/1/left', 'brake-overstroke', 'tire-hot'],
    ['tractor/1/right/single', 'tire-hot', 'duals-unequal'],
    ['air/service', 'air-low', 'brake-overstroke'],
    // The other circuit is still judged.
    ['air/primary', 'circuits-unequal of air/service', 'air-low'],
  ])('of %s takes out %s and not %s', (subject, rule, other) => {
    const { out } = truck().mark(subject, 'sensor-bad', GOOD);
    expect(out).toContain(rule);
    expect(out).not.toContain(other);
  });

  it('a second one of the same subject replaces the first; others stay, those past their end do not', () => {
    const { mark, marks } = truck();
    mark('air/service', 'sensor-bad', { ...GOOD, days: '1' });
    mark('tractor/1/left', 'sensor-bad', GOOD);
    mark(OUTER, 'sensor-bad', GOOD);
    mark(OUTER, 'sensor-bad', { days: '30', who: 'A. Roe' }, NOW + 2 * DAY);
    expect(marks().map(({ subject, who, untilMs }) => [subject, who, (untilMs - NOW) / DAY])).toEqual([
      ['tractor/1/left', 'J. Doe', 7],
      [OUTER, 'A. Roe', 32],
    ]);
  });

  it('--end takes it back, --list shows what is left', () => {
    const { mark } = truck();
    mark(OUTER, 'sensor-bad', GOOD);
    mark('tractor/1/left', 'sensor-bad', GOOD);
    expect(mark(OUTER, undefined, { end: true })).toMatchObject({ code: 0 });
    expect(mark(undefined, undefined, { list: true }).out).toBe(
      'tractor/1/left: sensor-bad until 2026-03-09 14:00 UTC, says J. Doe\n',
    );
    const again = mark(OUTER, undefined, { end: true });
    expect(again.code).toBe(1);
    expect(again.err).toContain(`"${OUTER}" is not marked`);
    expect(mark(undefined, undefined, { list: true }, NOW + 8 * DAY)).toEqual({
      code: 0,
      out: '',
      err: 'no sensor is marked\n',
    });
  });

  it.each<[string, string | undefined, string | undefined, Partial<MarkOptions>, string]>([
    ['no subject', undefined, undefined, {}, 'name the wheel'],
    ['a wheel that the truck has not', 'tractor/2/left/outr', 'sensor-bad', GOOD, `did you mean ${OUTER}?`],
    ['no word for it', OUTER, undefined, GOOD, 'sensor-bad'],
    ['another word', OUTER, 'broken', GOOD, '"broken" is not known'],
    ['no end', OUTER, 'sensor-bad', { who: 'J. Doe' }, '--days'],
    ['no day', OUTER, 'sensor-bad', { ...GOOD, days: '0' }, '1 to 90'],
    ['91 days', OUTER, 'sensor-bad', { ...GOOD, days: '91' }, '1 to 90'],
    ['a fraction of a day', OUTER, 'sensor-bad', { ...GOOD, days: '1.5' }, '1 to 90'],
    ['nobody', OUTER, 'sensor-bad', { days: '7' }, '--who'],
    ['a name with a line end', OUTER, 'sensor-bad', { days: '7', who: 'J.\nDoe' }, '--who'],
    ['--list and a subject', OUTER, undefined, { list: true }, '--list goes alone'],
  ])('%s is wrong usage, and nothing is written', (_what, subject, what, options, says) => {
    const { mark, file } = truck();
    const { code, out, err } = mark(subject, what, options);
    expect({ code, out }).toEqual({ code: 2, out: '' });
    expect(err).toContain(says);
    expect(err).not.toContain('\n');
    expect(existsSync(file)).toBe(false);
  });

  it('a file that is no list of marks is named and left as it is', () => {
    const { mark, file } = truck();
    writeFileSync(file, 'not ours');
    const { code, err } = mark(OUTER, 'sensor-bad', GOOD);
    expect(code).toBe(1);
    expect(err).toContain(file);
    expect(readFileSync(file, 'utf8')).toBe('not ours');
  });
});
