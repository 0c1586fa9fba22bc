import { describe, expect, it } from 'vitest';
import { compareEvents } from '../../../daemon/commands/expect-compare.js';
import { LOG_ENDS } from '../../../daemon/commands/shifts-find.js';
import type { Judged, State } from '../../../daemon/commands/shifts-judge.js';
import { shiftText, summaryText } from '../../../daemon/commands/shifts-print.js';
import { blocks, page, section } from '../../docs/pages.js';
import { axlepost } from './helpers.js';

const PAGE = 'docs/shift-tests.md';
const at = (h: number, m: number, s: number): number => ((h * 60 + m) * 60 + s) * 1000;
const event = (rule: string, change: string, urgency: string, t: number): string =>
  JSON.stringify({ rule, subject: 'tractor/2/left/outer', change, urgency, at: t });

const LEAK = compareEvents(
  [
    event('tire-losing-air', 'raised', 'next-stop', at(1, 8, 23)),
    event('tire-losing-air', 'worse', 'next-stop', at(1, 20, 43)),
    event('tire-underinflated', 'raised', 'next-stop', at(1, 23, 3)),
  ],
  [
    event('tire-losing-air', 'raised', 'next-stop', at(1, 8, 35)),
    event('tire-losing-air', 'worse', 'pull-over', at(1, 20, 43)),
  ],
);
const SAME = compareEvents([], []);

function judged(label: string, state: State, compared: typeof LEAK, events: number, seconds: number): Judged {
  const [folder, name] = label.split('/') as [string, string];
  return {
    shift: {
      ...{ folder, name, label, log: '', events: '', isExpected: true, config: null, problem: null, bytes: 0 },
    },
    ...{ state, compared, events, seconds, problem: null, warnings: [], reported: false },
  };
}

describe(PAGE, () => {
  it('shows what the program prints', () => {
    const all = [
      judged('T-1042/slow-leak-in-march', 'differs', LEAK, 22, 1.3),
      judged('T-1042/two-starts', 'same', SAME, 18, 0.9),
      judged('T-208/long-stroke', 'same', SAME, 9, 1.1),
    ];
    const style = { colour: false, columns: 80, all: false };
    const printed = [...all.flatMap((one) => shiftText(one, style)), '', ...summaryText(all, style)];
    expect(blocks(section(PAGE, '## What is told'), 'text')[0]!.trimEnd().split('\n')).toEqual(printed);
  });

  it('names every ending of a log, and every option', async () => {
    const text = page(PAGE);
    expect(LOG_ENDS.filter((end) => !text.includes(`${end}\``))).toEqual([]);
    const { out } = await axlepost(['shifts', '--help']);
    const options = [...out.matchAll(/^ {2}(--[a-z-]+)/gm)].map(([, name]) => name!);
    expect(options.length).toBeGreaterThan(8);
    expect(options.filter((name) => !text.includes(name))).toEqual([]);
  });
});
