import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { loadTruckFile } from '../../../config/load.js';
import { Failure } from '../../../daemon/commands/failure.js';
import { type SurveyOptions, surveyCommand } from '../../../daemon/commands/survey.js';
import type { SurveyReport } from '../../../daemon/survey/report.js';
import { listSubjects } from '../../../daemon/truck/subjects.js';
import { shared } from '../j1939/helpers.js';
import { axlepost, type Ended, replayHere, SHIFT, START_S, TRUCK, temp } from './helpers.js';

/** `axlepost survey …` in this process. */
async function survey(sources: string[], options: SurveyOptions = {}, columns = 100): Promise<Ended> {
  const out: string[] = [];
  const err: string[] = [];
  const console = {
    out: { write: (text: string) => out.push(text), columns },
    err: { write: (text: string) => err.push(text) },
  };
  let code: number;
  try {
    code = await surveyCommand(sources, options, console);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, out: out.join(''), err: err.join('') };
}

const jsonOf = ({ out }: Ended): SurveyReport => JSON.parse(out) as SurveyReport;

/** Eight seconds of EEC1, ten times a second. */
const LINES = Array.from({ length: 80 }, (_, n) => {
  const stamp = `(${START_S + Math.floor(n / 10)}.${n % 10}00000)`;
  return `${stamp} can0 0CF00400#F07D7D401F00FFFF\n`;
});
const LOG = temp('eight.log', LINES.join(''));

describe('a survey of the demonstration shift', () => {
  it('drafts a truck file that loads, and replays the shift with the tires that the truck really has', async () => {
    const draft = temp('draft.yaml');
    const { code, err } = await survey([SHIFT], { draft });
    expect(code).toBe(0);
    const { config, problems } = loadTruckFile(draft);
    expect(problems ?? []).toEqual([]);
    const real = loadTruckFile(TRUCK).config!;
    expect(listSubjects(config!.units)).toMatchObject(
      Object.fromEntries(
        (['tires', 'wheelEnds', 'pairs'] as const).map((kind) => [
          kind,
          listSubjects(real.units)[kind].map(({ subject }) => ({ subject })),
        ]),
      ),
    );
    // Every line that is named is one at which a person must decide, and none is left out.
    const lines = readFileSync(draft, 'utf8').split('\n');
    const named = /lines ([\d, ]+)/.exec(err)![1]!.split(', ').map(Number);
    expect(named).toEqual(lines.flatMap((line, i) => (line.includes('DECIDE:') ? [i + 1] : [])));
    expect(named.length).toBeGreaterThan(10);

    // Rules that need no target come out the same, wheel by wheel.
    const events = async (file: string) => {
      const { out } = await replayHere([SHIFT], { config: file, events: '-', format: 'canonical' });
      const all = out
        .trim()
        .split('\n')
        .map((line) => JSON.parse(line) as { rule: string; subject: string; change: string });
      const told = all.filter(({ rule }) =>
        ['tire-sensor-silent', 'brake-overstroke', 'brake-dragging', 'air-low'].includes(rule),
      );
      return told.map(({ rule, subject, change }) => `${rule} ${subject} ${change}`);
    };
    const [ours, theirs] = [await events(draft), await events(TRUCK)];
    expect(ours).toEqual(theirs);
    expect(ours.length).toBeGreaterThan(5);
  }, 120_000);

  it('finds nothing amiss with the truck file of that truck', async () => {
    const report = jsonOf(await survey([SHIFT], { config: TRUCK, format: 'json' }));
    const { axlesWithoutChamber, axlesWithoutColdPressure, ...rest } = report.truckFile!;
    expect([...Object.values(rest), axlesWithoutChamber, axlesWithoutColdPressure].flat()).toEqual([]);
    const judged = report.rules.filter(({ judged }) => judged !== 'later');
    expect(judged.length).toBeGreaterThan(10);
    // It sends neither lining, brake heat nor measured stroke.
    expect(judged.flatMap(({ rule, judged }) => (judged === 'no' ? [rule] : [])).sort()).toEqual([
      'brake-hot',
      'brake-lining-low',
      'brake-stroke-growing',
      'brake-stroke-uneven',
    ]);
    // The sender's interval is 10 s, and 5 % of the frames are lost (simulator/bus.ts).
    for (const tire of report.tires) expect(tire.medianMs).toBeGreaterThan(9_900);
    expect(report.tires).toHaveLength(18);
  }, 60_000);
});

describe('the report', () => {
  it.each([80, 100])(
    'fits %i columns',
    async (columns) => {
      const { out } = await survey([SHIFT], { config: TRUCK }, columns);
      expect(out.split('\n').filter((line) => line.length > columns)).toEqual([]);
      expect(out).toContain('tractor/2/left/outer');
      expect(out).not.toMatch(/\u00a0|undefined|NaN|\[object/);
    },
    60_000,
  );

  it('as JSON is one object on stdout', async () => {
    const { code, out, err } = await axlepost(['survey', LOG, '--format', 'json']);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    const report = JSON.parse(out) as SurveyReport;
    expect(report).toMatchObject({ v: 1, durationS: 7.9, source: { kind: 'log', names: [LOG], endedEarly: false } });
    expect(report.buses).toMatchObject([{ bus: 'main', interface: 'can0', frames: 80, ofInterest: 80 }]);
    expect(report.groups[0]).toMatchObject({ sa: 0, pgn: 61444, acronym: 'EEC1', count: 80, medianMs: 100 });
  });

  it('has no progress bar in a pipe', async () => {
    const { err } = await axlepost(['survey', SHIFT]);
    expect(err).toBe('');
  }, 60_000);

  it('says what of a log it does not show', async () => {
    const others = ['can0 123#11', 'can0 18FEF100#R', 'can0 18FEF100##100', 'can0 nonsense'].map(
      (text) => `(${START_S + 9}.000000) ${text}\n`,
    );
    const { out, err, code } = await survey([temp('others.log', [...LINES, ...others].join(''))]);
    expect(code).toBe(0);
    expect(out).toContain('not in what follows: 1 11-bit, 1 remote (RTR), 1 CAN FD frames, 1 bad lines');
    expect(err).toMatch(/others\.log:84/);
  });

  it('has each interface of a log as a bus of its own', async () => {
    const second = LINES.slice(0, 20).map((line) => line.replace('can0', 'can1'));
    const log = temp('two.log', [...LINES, ...second].join(''));
    const { buses } = jsonOf(await survey([log], { format: 'json' }));
    expect(buses.map(({ bus, interface: link, frames }) => [bus, link, frames])).toEqual([
      ['main', 'can0', 80],
      ['can1', 'can1', 20],
    ]);
  });

  it('of the first seconds of a log has the frames up to there', async () => {
    const report = jsonOf(await survey([LOG], { format: 'json', seconds: '2' }));
    expect(report).toMatchObject({ durationS: 2, buses: [{ frames: 21 }] });
  });

  it('of standard input', async () => {
    const { code, out } = await axlepost(['survey', '-', '--format', 'json'], { stdin: LINES.join('') });
    expect(code).toBe(0);
    expect((JSON.parse(out) as SurveyReport).buses[0]!.frames).toBe(80);
  });
});

describe('what is refused, with one line and before anything is written', () => {
  const exists = temp('there.yaml', 'x');
  const cases: [string, string[], SurveyOptions, number, RegExp][] = [
    ['a draft that exists', [LOG], { draft: exists }, 2, /there\.yaml: exists already; name a new file for --draft/],
    ['a log that is not there', ['no/such.log'], {}, 2, /^no\/such\.log: no such file; name a log, or a CAN interface/],
    ['a log with a name like an interface', ['shift.log'], {}, 2, /^shift\.log: no such file/],
    ['an interface and a log', ['can0', LOG], {}, 2, /name either interfaces or logs/],
    ['one log twice', [LOG, LOG], {}, 2, /named twice/],
    ['no time', [LOG], { seconds: '0' }, 2, /^--seconds 0: write a number above 0/],
    ['a form that is none', [LOG], { format: 'xml' }, 2, /^--format xml: write text or json/],
    ['a truck file that is none', [LOG], { config: exists }, 2, /there\.yaml:1:1: /],
    ['a log without frames', [temp('empty.log', '')], {}, 1, /no 29-bit frame/],
  ];

  it.each(cases)('%s', async (_, sources, options, code, line) => {
    const ended = await survey(sources, options);
    expect(ended.code).toBe(code);
    expect(ended.err.trim().split('\n').at(-1)).toMatch(line);
    expect(readFileSync(exists, 'utf8')).toBe('x');
  });

  it('nothing heard gives no draft', async () => {
    const draft = temp('none.yaml');
    const { code, out, err } = await survey([temp('empty2.log', '')], { draft });
    expect([code, out]).toEqual([1, '']);
    expect(err).toContain('empty2.log: ');
    expect(existsSync(draft)).toBe(false);
  });
});

const bench = shared('data/brake-bench/normal.log');
describe.skipIf(bench.absent)(`brake-bench/normal.log${bench.why}`, () => {
  // data/README.md: 11-bit and RTR frames.
  it('has its 11-bit and its remote frames beside the rest', async () => {
    const lines = readFileSync(bench.path, 'utf8').split('\n');
    const shortIds = lines.filter((line) => /^\S+ \S+ [0-9A-F]{3}#/.test(line)).length;
    const remote = lines.filter((line) => /^\S+ \S+ [0-9A-F]{8}#R/.test(line)).length;
    const { source, buses } = jsonOf(await survey([bench.path], { format: 'json' }));
    expect(source.skipped).toMatchObject({ shortIds, rtr: remote, fd: 0 });
    expect(shortIds + remote).toBeGreaterThan(0);
    expect(buses[0]!.frames + shortIds + remote).toBe(lines.filter((line) => line.includes('#')).length);
  });
});
