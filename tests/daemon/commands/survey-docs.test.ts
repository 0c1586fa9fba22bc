import { describe, expect, it } from 'vitest';
import { section, tableRows, ticked } from '../../docs/pages.js';
import { type Frame, frameOf } from '../../support/rig.js';
import { truckOf } from '../../support/truck-file.js';
import { reportOf } from '../survey/helpers.js';

const PAGE = 'docs/survey.md';
const TIRE = frameOf(0, 65268, 51, { 929: 0, 241: 700, 242: 20 });
const FRAMES: Frame[] = [TIRE, { t: 1, id: 0x18ff2190, data: Uint8Array.of(1, 2) }];

const keysOf = (heading: string): string[] =>
  tableRows(section(PAGE, `## ${heading}`)).map(([cell]) => ticked(cell!)[0]!);

describe('docs/survey.md', () => {
  const report = reportOf(FRAMES, truckOf());
  const objects: [string, object][] = [
    ['The object', report],
    ['source', report.source],
    ['buses', report.buses[0]!],
    ['senders', report.senders[0]!],
    ['groups', report.groups[0]!],
    ['others', report.others[0]!],
    ['tires', report.tires[0]!],
    ['rules', report.rules[0]!],
    ['truckFile', report.truckFile!],
  ];

  it.each(objects)('%s: every key, and none that is not there', (heading, object) => {
    expect(keysOf(heading).sort()).toEqual(Object.keys(object).sort());
  });

  it('names every key of a signal', () => {
    const row = tableRows(section(PAGE, '## groups')).find(([key]) => key === '`signals`')!;
    expect(ticked(row[1]!).sort()).toEqual(Object.keys(report.groups[0]!.signals[0]!).sort());
  });
});
