import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { GROUPS, groupOf, groupOfSpn, type Signal, signalOf } from '../../../daemon/j1939/signals.js';
import { shared } from './helpers.js';

const SIGNALS: readonly (readonly [number, Signal])[] = GROUPS.flatMap((g) =>
  g.signals.map((s) => [s.spn, s] as const),
);

describe('the signal table', () => {
  it('has the groups the program promises', () => {
    expect(GROUPS.map((group) => group.acronym).toSorted()).toEqual(
      (
        'TIRE1 TIRE2 TCSI TPRI BSA EBC1 EBC2 EBC3 EBC4 EBC5 AIR1 B1 B2 CCVS1 EEC1 AMB HRW TCO1 VP1 VDS VD VDHR HOURS ' +
        'TD VW VI CI'
      )
        .split(' ')
        .toSorted(),
    );
    expect(new Set(GROUPS.map((group) => group.pgn)).size).toBe(GROUPS.length);
  });

  it('has every SPN once', () => {
    expect(new Set(SIGNALS.map(([spn]) => spn)).size).toBe(SIGNALS.length);
    for (const group of GROUPS) {
      expect(groupOf(group.pgn)).toBe(group);
      for (const signal of group.signals) {
        expect(signalOf(signal.spn)).toBe(signal);
        expect(groupOfSpn(signal.spn)).toBe(group);
      }
    }
    expect(signalOf(1)).toBeUndefined();
    expect(groupOf(0)).toBeUndefined();
  });

  it('has no two signals on one bit, and none past the end', () => {
    for (const { acronym, length, signals } of GROUPS) {
      if (length === null) continue;
      const owner = new Map<number, number>();
      for (const { spn, startBit, bits } of signals) {
        expect(startBit + bits, `${acronym} ${spn}`).toBeLessThanOrEqual(length * 8);
        for (let bit = startBit; bit < startBit + bits; bit++) {
          expect(owner.get(bit), `${acronym} bit ${bit}`).toBeUndefined();
          owner.set(bit, spn);
        }
      }
    }
  });

  it('has stroke status as twenty fields of three bits in a row (fact sheet 2.1)', () => {
    for (let spn = 3785; spn <= 3804; spn++) {
      expect(signalOf(spn)).toMatchObject({ startBit: 3 * (spn - 3785), bits: 3, kind: 'state' });
    }
  });

  it('keeps exceptions and texts to values a field can have', () => {
    for (const [spn, signal] of SIGNALS) {
      const raws = [...Object.keys(signal.states ?? {}), ...Object.keys(signal.exceptions ?? {})].map(Number);
      for (const raw of raws) expect(raw, `SPN ${spn}`).toBeLessThan(2 ** signal.bits);
    }
  });
});

/**
 * The same table read a second way, out of the fact sheet's own text:
 * `| SPN | Signal | Pos | LE bit | Bits | Res. | Offset | Range | Unit | Seen in | Gr. |`.
 */
function sheetRows(path: string): Map<string, string[][]> {
  const groups = new Map<string, string[][]>();
  let rows: string[][] | undefined;
  for (const line of readFileSync(path, 'utf8').split('\n')) {
    const title = /\b([A-Z][A-Z0-9]+) (?:– )?(\d{5}) \(0x/.exec(line);
    if (title && !line.startsWith('|')) {
      rows = [];
      groups.set(title[1]!, rows);
    }
    const cells = line.split('|').map((cell) => cell.trim());
    if (rows && cells.length === 13 && /^\d+$/.test(cells[1]!)) rows.push(cells.slice(1, 12));
  }
  return groups;
}

const sheet = shared('facts/j1939.md');
describe.skipIf(sheet.absent)(`the signal table against the fact sheet${sheet.why}`, () => {
  const rows = existsSync(sheet.path) ? sheetRows(sheet.path) : new Map<string, string[][]>();
  it.each(GROUPS.filter((group) => group.length !== null).map((group) => [group.acronym, group] as const))(
    '%s',
    (acronym, group) => {
      const mine = group.signals.map((s) => [
        s.spn,
        s.startBit,
        s.bits,
        s.kind === 'number' ? s.scale : 1,
        s.offset,
        s.grade,
      ]);
      const theirs = rows.get(acronym)!.map((cells) => {
        const [spn, , , startBit, bits, scale, offset, , , , grade] = cells;
        const code = scale === 'code';
        return [
          Number(spn),
          Number(startBit),
          Number(bits),
          code ? 1 : Number(scale),
          code ? 0 : Number(offset),
          grade,
        ];
      });
      expect(mine).toEqual(theirs);
      for (const [i, { spn, kind, unit, startBit }] of group.signals.entries()) {
        const [, , position, , , , , , theirUnit] = rows.get(acronym)![i]!;
        if (kind === 'number') expect([spn, unit]).toEqual([spn, theirUnit]);
        // The sheet gives the place twice; both must say the same.
        const [byte, bit = '1'] = position!.split('-')[0]!.split('.');
        expect([spn, (Number(byte) - 1) * 8 + Number(bit) - 1]).toEqual([spn, startBit]);
      }
    },
  );
});
