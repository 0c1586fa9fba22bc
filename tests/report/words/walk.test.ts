import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import type { ReportData, Words } from '../../../report/data.js';
import { CHECKS } from '../../../report/words/checks.js';
import { replayHere, SHIFT, temp } from '../../daemon/commands/helpers.js';
import { page, section } from '../../docs/pages.js';

const DOC = 'docs/report.md';
const GAUGES = ['within 14 kPa (2 psi)', 'within 3 mm (1/8 in)', 'within 28 kPa (4 psi)'];

/** What docs/report.md quotes of the demonstration shift's report stands in that report. */
describe('from a planted fault to its cause', () => {
  let report: ReportData;
  let lines: string[] = [];
  beforeAll(async () => {
    const path = temp('walk.html');
    const { code } = await replayHere([SHIFT], { report: path });
    expect(code).toBe(0);
    const json = /<script type="application\/json" id="data">([^<]*)<\/script>/.exec(readFileSync(path, 'utf8'))![1]!;
    report = JSON.parse(json) as ReportData;
    const clock = (s: number): string => new Date(report.fromMs + s * 1000).toISOString().slice(11, 19);
    const said = (words: Words): string => words.map((w) => (typeof w === 'string' ? w : clock(w.atS))).join('');
    lines = report.alerts.flatMap(({ saw, hints }) => [...saw, ...hints.map(({ words }) => words)].map(said));
  }, 120_000);

  it('every quotation is of that report', () => {
    const quoted = section(DOC, '## From a planted fault to its cause')
      .match(/^> .*$/gm)!
      .map((line) => line.slice(2));
    expect(quoted.length).toBeGreaterThan(7);
    expect(quoted.filter((line) => !lines.includes(line))).toEqual([]);
  });

  it('as are the counts of what was found, and what the walk says of it', () => {
    const roots = report.alerts.filter(({ cause }) => cause === null);
    const count = (urgency: string): number => roots.filter(({ worst }) => worst === urgency).length;
    expect([count('pull-over'), count('next-stop'), count('plan')]).toEqual([2, 5, 3]);
    expect(report.muted.map(({ rule }) => rule)).toEqual(['duals-unequal']);
    expect(report.air!.tests.every(({ passed }) => passed)).toBe(true);
    expect(report.about.frames!.all.toLocaleString('en-US')).toBe('346,352');
    expect(page(DOC)).toContain('346,352 frames');
    const hot = report.alerts.find(({ subject, rule }) => rule === 'tire-hot' && subject === 'trailer/2/left/inner')!;
    expect(hot.toS).toBeNull();
  });

  it('positions of the truck are not in it', () => {
    expect(JSON.stringify(report)).not.toMatch(/"(?:lat|lon|latitude|longitude|position)"/i);
  });
});

it('the margins between gauge and sensor are those of the checks', () => {
  const told = Object.values(CHECKS)
    .flatMap((c) => c.sensorOrReal)
    .join('\n')
    .toLowerCase();
  for (const margin of GAUGES) {
    expect(page(DOC).replaceAll('Within', 'within')).toContain(margin);
    expect(told).toContain(margin.toLowerCase());
  }
});
