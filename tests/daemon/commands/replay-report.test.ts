import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Resume } from '../../../daemon/pipeline.js';
import type { Plain } from '../../../daemon/state.js';
import { placeOf } from '../../../daemon/truck/subjects.js';
import type { ReportData } from '../../../report/data.js';
import { LiveRun, replay, ZERO_MS } from '../../adapters/recorder/live-run.js';
import { AFTER, BEFORE, play, SEGMENT_MS, SHIFT_S, shift } from '../../adapters/recorder/shift.js';
import { canonical, lampLog, ROOT, replayHere, SHIFT, START_S, TRUCK, temp, text } from './helpers.js';

interface Line {
  at: string;
  alert: string;
  rule: string;
  subject: string;
  change: string;
}

const linesOf = (ndjson: string): Line[] =>
  ndjson
    .split('\n')
    .filter((line) => line !== '')
    .map((line) => JSON.parse(line) as Line);

function reportIn(path: string): ReportData {
  const json = /<script type="application\/json" id="data">([^<]*)<\/script>/.exec(readFileSync(path, 'utf8'))![1]!;
  return JSON.parse(json) as ReportData;
}

const lamp = (name: string, options: Parameters<typeof lampLog>[0] = {}): string => temp(name, text(lampLog(options)));

describe('the report of the demonstration shift', () => {
  let report: ReportData;
  let events: Line[] = [];
  beforeAll(async () => {
    const path = temp('morning-run.html');
    const { code, out, err } = await replayHere([SHIFT], { report: path, events: '-' });
    expect(code).toBe(0);
    expect(err).toMatch(/^.*morning-run\.html: \d+ KB, 10 alerts$/m);
    report = reportIn(path);
    events = linesOf(out);
  });

  it('has the events that are expected of the shift, whether it is made or not', async () => {
    const { out } = await canonical([SHIFT], { report: temp('same.html') });
    expect(out).toBe(readFileSync(join(ROOT, 'replay-logs/morning-run.events'), 'utf8'));
  });

  it('tells of each alert that was raised, with its id, from its first event to its last', () => {
    const raised = events.filter(({ change }) => change === 'raised');
    const ofEach = raised.map(({ alert, rule, subject, at }) => ({
      ...{ id: alert, rule, place: placeOf(subject), fromS: (Date.parse(at) - report.fromMs) / 1000 },
    }));
    const told = report.glance.alerts.map(({ id, rule, place, fromS }) => ({ id, rule, place, fromS }));
    const byId = (a: { id: string }, b: { id: string }) => (a.id < b.id ? -1 : 1);
    expect(told.sort(byId)).toEqual(ofEach.sort(byId));
    for (const { id, toS } of report.glance.alerts) {
      const end = events.find(({ alert, change }) => alert === id && (change === 'cleared' || change === 'closed'));
      expect(toS).toBe(end === undefined ? null : (Date.parse(end.at) - report.fromMs) / 1000);
    }
  });

  it('agrees with its story (replay-logs/README.md): what it is, how long, asleep between the trips, no gap', () => {
    const { about, fromMs, lengthS, trips, gaps, glance } = report;
    expect(about).toMatchObject({ truck: 'T-1042', trailer: 'TR-77', sources: ['morning-run.log.gz'], synced: true });
    expect(Math.round(about.frames!.all / 1000)).toBe(346);
    expect([fromMs, Math.round(lengthS / 60)]).toEqual([ZERO_MS, 181]);
    expect(trips).toHaveLength(2);
    expect(gaps).toEqual([]);
    expect(glance.life.map(({ state }) => state)).toEqual(['parked', 'asleep']);
    const asleep = glance.life[1]!;
    expect([asleep.fromS / 60 > 90, asleep.toS / 60 < 105.1]).toEqual([true, true]);
  });
});

describe('pieces', () => {
  it('--from and --to bound it; what lies before is judged all the same', async () => {
    const log = lamp('piece.log', { seconds: 200, on: [120, 150] });
    const path = temp('piece.html');
    expect((await replayHere([log], { report: path, from: '100', to: '180' })).code).toBe(0);
    const { fromMs, lengthS, glance } = reportIn(path);
    expect([fromMs, lengthS]).toEqual([(START_S + 100) * 1000, 80]);
    expect(glance.alerts).toHaveLength(1);
  });

  it('recordings of two runs, a reload in each: ids, configurations, logs and times of both', async () => {
    const first = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS, boot: 7 });
    await play(first, shift(437, 11));
    const endMs = 1000 * SHIFT_S + 90_000;
    const state = JSON.parse(JSON.stringify(first.session.pipeline.snapshot(endMs))) as Plain;
    const resume: Resume = { kind: 'restart', state, downMs: 3_600_000 - endMs };
    const run = { zeroWallMs: ZERO_MS + 3_600_000, synced: true };
    const second = await LiveRun.start({
      config: BEFORE,
      segmentMs: SEGMENT_MS,
      boot: 8,
      path: first.folder,
      resume,
      run,
    });
    await play(second, shift(738, 12));
    const path = temp('runs.html');
    const { code, events, err } = await replay([first.folder], { report: path, format: 'ndjson' });
    expect([code, err.includes('runs.html: ')]).toEqual([0, true]);
    const { about, glance, fromMs, lengthS, notes } = reportIn(path);
    expect(about.configs).toEqual(expect.arrayContaining([BEFORE.hash, AFTER.hash]));
    expect(about.sources.length).toBeGreaterThan(10);
    // In both runs the clock becomes known, and says the same (shift.ts): they lie over each other. The first input is at 454 ms.
    expect([fromMs, Math.round(lengthS)]).toEqual([1_772_456_403_210 + 454, SHIFT_S + 90]);
    const ids = new Set(linesOf(events.join('\n')).map(({ alert }) => alert));
    expect(new Set(glance.alerts.map(({ id }) => id))).toEqual(ids);
    // Where it started from is told, without the folder.
    expect(
      notes.some((note) => /^\S+\.log\.gz: starts from the recorded state at 0:00:00, configuration \w+\.$/.test(note)),
    ).toBe(true);
    expect(notes.join()).not.toContain(first.folder);
  }, 60_000);

  it('with a store its alerts have the ids of the store', async () => {
    const path = temp('stored.html');
    const { out } = await replayHere([lamp('stored.log')], { report: path, store: temp('stored.db'), events: '-' });
    const [event] = linesOf(out);
    expect(event!.alert).not.toContain('replay');
    expect(reportIn(path).glance.alerts.map(({ id }) => id)).toEqual([event!.alert]);
  });

  it('what is wrong with a log is told in it, and what was read of it counts', async () => {
    const whole = text([
      ...lampLog({ seconds: 100 }).slice(0, 300),
      'this is no line',
      ...lampLog({ seconds: 100 }).slice(300),
    ]);
    const path = temp('cut.html');
    const packed = gzipSync(whole, { level: 1 });
    // The line at the cut is damaged as well.
    const cut = temp('cut.log.gz', packed.subarray(0, packed.length - 20));
    const { code } = await replayHere([cut], { report: path });
    expect(code).toBe(1);
    const { notes } = reportIn(path);
    expect(notes[0]).toMatch(/^cut\.log\.gz:301:1: .*\.$/);
    expect(notes.slice(-2)).toEqual([
      '2 lines of the logs were damaged and count for nothing.',
      'cut.log.gz: not read to its end.',
    ]);
  });

  it('a log in which nothing happened has a report too', async () => {
    const path = temp('nothing.html');
    const { code, err } = await replayHere([lamp('nothing.log', { on: [0, 0] })], { report: path });
    expect([code, /nothing\.html: \d+ KB, 0 alerts/.test(err)]).toEqual([0, true]);
    expect(reportIn(path).alerts).toEqual([]);
  });

  it('where there is nothing to tell of, none is written: one line says why, and the exit code is 1', async () => {
    const path = temp('empty.html');
    const late = await replayHere([lamp('early.log')], { report: path, from: '5000' });
    expect([late.code, late.err]).toEqual([
      1,
      expect.stringContaining('empty.html: not written, nothing of these logs comes after --from\n'),
    ]);
    const none = await replayHere([temp('empty.log', '')], { report: path });
    expect([none.code, none.err]).toEqual([
      1,
      expect.stringContaining('empty.html: not written, there are no frames in these logs\n'),
    ]);
    expect(existsSync(path)).toBe(false);
  });

  it('where events differ from those expected it is written all the same, and the exit code is 3', async () => {
    const path = temp('differs.html');
    const options = { report: path, expect: temp('none.events', '') };
    expect((await replayHere([lamp('differs.log')], options)).code).toBe(3);
    expect(existsSync(path)).toBe(true);
  });
});

describe('what is refused, before anything is read', () => {
  const refused = async (logs: string[], options: Parameters<typeof replayHere>[1]) => {
    const { code, err } = await replayHere(logs, options);
    expect(code).toBe(2);
    return err.trim();
  };

  it('a report in the place of an input, of another file, of what is written too, of no folder', async () => {
    const log = lamp('input.log');
    expect(await refused([log], { report: log })).toMatch(
      /input\.log: is read by this replay and would be overwritten/,
    );
    expect(await refused([log], { report: TRUCK })).toMatch(/T-1042\.yaml: is read by this replay/);
    const other = temp('letter.html', '<p>Dear all,');
    expect(await refused([log], { report: other })).toMatch(
      /letter\.html: exists already and is no report of this program/,
    );
    expect(readFileSync(other, 'utf8')).toBe('<p>Dear all,');
    const twice = temp('twice.html');
    expect(await refused([log], { report: twice, events: twice })).toMatch(/is written by --events or --store too/);
    expect(await refused([log], { report: temp('no/such/folder.html') })).toMatch(/cannot be written to \(ENOENT\)/);
    expect(await refused([log], { report: '-' })).toMatch(/^--report -: a report is a file/);
  });

  it('the same recording gives the same report, to the byte', async () => {
    const log = lamp('twice.log');
    const [a, b] = [temp('first.html'), temp('second.html')];
    for (const report of [a, b]) expect((await replayHere([log], { report })).code).toBe(0);
    expect(readFileSync(a).equals(readFileSync(b))).toBe(true);
  });

  it('an earlier report is replaced', async () => {
    const path = temp('again.html');
    const log = lamp('again.log');
    for (const to of ['30', '90']) expect((await replayHere([log], { report: path, to })).code).toBe(0);
    expect(reportIn(path).lengthS).toBe(90);
  });

  it('recordings of two trucks: one line says what to do', async () => {
    const folders: string[] = [];
    for (const truck of ['T-1042', 'T-208']) {
      const live = await LiveRun.start({ config: { ...BEFORE, truck }, segmentMs: SEGMENT_MS });
      await play(live, shift(437, 11).slice(0, 500));
      folders.push(live.folder);
    }
    const { code, err } = await replay(folders, { report: temp('two.html') });
    expect(code).toBe(2);
    expect(err.trim().split('\n').at(-1)).toBe(
      '--report tells of one truck, and these logs are of northline/T-1042, northline/T-208; name the logs of one of them',
    );
  });
});
