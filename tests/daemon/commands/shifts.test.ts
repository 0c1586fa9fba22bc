import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest';
import { replayHere, SHIFT, TRUCK, temp, text } from './helpers.js';
import { changed, fleet, folderOf, lamp, put, shiftsHere, withTruck } from './shifts-folder.js';

let log = '';
let events: string[] = [];
beforeAll(async () => {
  ({ log, events } = await lamp());
});
beforeEach(() => void vi.stubEnv('CI', ''));
afterEach(() => void vi.unstubAllEnvs());

/** Seconds differ from run to run. */
const steady = (out: string): string => out.replace(/\d+\.\d(?= {2}\S+$)/gm, (s) => '0.0'.padStart(s.length));

describe('a folder of shifts', () => {
  it('each is told under its name, then all in a table; 3, as some differ', async () => {
    const { code, out, err } = await shiftsHere([fleet(log, events)]);
    expect(code).toBe(3);
    expect(steady(out)).toBe(
      text([
        'cut: could not be run',
        '  not every log could be read to its end',
        '',
        'late: not as expected (1 moved)',
        '  red stop lamp, bus main: red stop lamp',
        '    moved     0:00:25  raised, pull over: by +12 s from 0:00:13',
        '',
        'less: not as expected (1 missing)',
        '  red stop lamp, bus main: red stop lamp',
        '    missing   0:01:30  reopened, pull over',
        '',
        'lost: could not be run',
        '  there is no log beside lost.events; it would be lost.log.gz, lost.pcapng … or a folder lost',
        '',
        'young: not expected yet; --bless makes it',
        '',
        '         events  missing  extra  moved  urgency  numbers  seconds  shift',
        'ok            2        0      0      0        0        0      0.0  calm',
        'BROKEN        -        -      -      -        -        -      0.0  cut',
        'DIFFERS       2        0      0      1        0        0      0.0  late',
        'DIFFERS       2        1      0      0        0        0      0.0  less',
        'BROKEN        -        -      -      -        -        -      0.0  lost',
        'new           2        -      -      -        -        -      0.0  young',
        '',
        '6 shifts: 1 as expected, 2 not as expected, 1 not expected yet; --bless makes it, 2 could not be run',
      ]),
    );
    // What the replay said of the broken log; nothing of the good one.
    expect(err.trimEnd().split('\n')).toEqual([
      expect.stringMatching(/^cut: .*cut\.log\.gz:\d+:\d+: cut short: /),
      expect.stringMatching(/^cut: .*cut\.log\.gz: gzip data cut short; what came before is used$/),
    ]);
  });

  it('is the same for any number of threads', async () => {
    const folder = fleet(log, events);
    const [one, many] = [await shiftsHere([folder], { jobs: '1' }), await shiftsHere([folder], { jobs: '5' })];
    expect(steady(many.out)).toBe(steady(one.out));
    expect(many.err).toBe(one.err);
  });

  it('0: all as expected', async () => {
    expect((await shiftsHere([fleet(log, events)], { only: ['calm'] })).code).toBe(0);
  });

  it('1: one could not be run, and none differs', async () => {
    expect((await shiftsHere([fleet(log, events)], { only: ['calm', 'cut'] })).code).toBe(1);
  });

  it('a shift of which nothing is expected yet fails in CI alone', async () => {
    const only = ['calm', 'young'];
    expect((await shiftsHere([fleet(log, events)], { only })).code).toBe(0);
    vi.stubEnv('CI', 'true');
    expect((await shiftsHere([fleet(log, events)], { only })).code).toBe(3);
  });

  it('other numbers fail only with --strict', async () => {
    const folder = withTruck(
      folderOf({ 'a.log': log, 'a.events': text([changed(events[0]!, { since: 1 }), events[1]!]) }),
    );
    const loose = await shiftsHere([folder]);
    expect(loose.code).toBe(0);
    expect(loose.out).toContain('numbers   0:00:25  raised, pull over: since 0:00:25, expected 0:00:00\n');
    expect(steady(loose.out)).toContain('ok       2        0      0      0        0        1      0.0  a\n');
    expect((await shiftsHere([folder], { strict: true })).code).toBe(3);
  });
});

describe('--bless', () => {
  it('accepts what can be accepted, and nothing else; then all of that is as expected', async () => {
    const folder = fleet(log, events);
    const cut = readFileSync(join(folder, 'cut.events'), 'utf8');
    const { code, out } = await shiftsHere([folder], { bless: true });
    expect(code).toBe(1);
    expect(out).toContain('late: expected from now on (1 moved)\n');
    expect(out).toContain('6 shifts: 1 as expected, 3 expected from now on, 2 could not be run\n');
    for (const name of ['late', 'less', 'young'])
      expect(readFileSync(join(folder, `${name}.events`), 'utf8')).toBe(text(events));
    expect(readFileSync(join(folder, 'cut.events'), 'utf8')).toBe(cut);
    expect((await shiftsHere([folder], { only: ['calm', 'late', 'less', 'young'], strict: true })).code).toBe(0);
  });

  it('is refused in CI before anything is run, unless it is said', async () => {
    vi.stubEnv('CI', 'true');
    const folder = fleet(log, events);
    const { code, out, err } = await shiftsHere([folder], { bless: true });
    expect({ code, out }).toEqual({ code: 2, out: '' });
    expect(err).toMatch(/^--bless: CI is set, .*--yes-bless/);
    expect(existsSync(join(folder, 'young.events'))).toBe(false);
    await shiftsHere([folder], { bless: true, yesBless: true });
    expect(existsSync(join(folder, 'young.events'))).toBe(true);
  });

  it('an expected file that is none is broken, and stays as it is', async () => {
    const folder = withTruck(folderOf({ 'a.log': log, 'a.events': 'my notes\n' }));
    const { code, out } = await shiftsHere([folder], { bless: true });
    expect(code).toBe(1);
    expect(out).toContain('a.events:1: no canonical event; ');
    expect(readFileSync(join(folder, 'a.events'), 'utf8')).toBe('my notes\n');
  });
});

describe('truck files', () => {
  const YAML = readFileSync(TRUCK, 'utf8');
  /** Never judges the lamp. */
  const DEAF = YAML.replace('rules:', 'rules:\n  stop-lamp: {enabled: no}');

  it('NAME.yaml goes before truck.yaml, and that before --config', async () => {
    const config = temp('command-line.yaml', DEAF);
    const folder = folderOf({ 'a.log': log, 'b.log': log, 'b.yaml': DEAF });
    const counts = async () =>
      [...(await shiftsHere([folder], { config })).out.matchAll(/^new +(\d+)/gm)].map(([, n]) => n);
    expect(await counts()).toEqual(['0', '0']);
    put(folder, 'truck.yaml', YAML);
    expect(await counts()).toEqual(['2', '0']);
  });

  it('without one a log that brings none cannot be run, and says what to do', async () => {
    const { code, out } = await shiftsHere([folderOf({ 'a.log': log })]);
    expect(code).toBe(1);
    expect(out).toContain('a.log: is no recording of run with its sidecar; add ');
  });

  it('a mistake in one stops only its shifts', async () => {
    const folder = withTruck(folderOf({ 'a.log': log, 'b.log': log, 'b.yaml': 'fleet: northline\n' }));
    const { code, out } = await shiftsHere([folder]);
    expect(code).toBe(1);
    expect(out).toMatch(/b: could not be run\n {2}\S*b\.yaml:1:1: /);
    expect(out).toContain('2 shifts: 1 not expected yet; --bless makes it, 1 could not be run\n');
  });

  it('a mistake in that of the command line stops all, as wrong usage', async () => {
    const config = temp('wrong.yaml', 'fleet: northline\n');
    expect(await shiftsHere([fleet(log, events)], { config })).toMatchObject({ code: 2, out: '' });
  });
});

describe('--report', () => {
  it('writes the report of each shift that could be run, as replay does', async () => {
    const folder = withTruck(folderOf({ 'a.log': log, 'T-208/b.log': log, 'T-208/truck.yaml': readFileSync(TRUCK) }));
    put(folder, 'lost.events', text(events));
    const [reports, alone] = [temp('reports/of/shifts'), temp('alone.html')];
    const { code, err } = await shiftsHere([folder], { report: reports });
    expect({ code, err }).toEqual({ code: 1, err: `${reports}: 2 reports\n` });
    expect(readdirSync(reports, { recursive: true }).sort()).toEqual(['T-208', 'T-208/b.html', 'a.html']);
    await replayHere([join(folder, 'a.log')], { report: alone });
    expect(readFileSync(join(reports, 'a.html')).equals(readFileSync(alone))).toBe(true);
  });

  it('a file of somebody else is not overwritten, and costs only its shift', async () => {
    const [folder, reports] = [withTruck(folderOf({ 'a.log': log, 'b.log': log })), folderOf({ 'a.html': 'mine' })];
    const { code, out, err } = await shiftsHere([folder], { report: reports });
    expect({ code, err }).toEqual({ code: 1, err: `${reports}: 1 report\n` });
    expect(out).toContain('a.html: exists already and is no report of this program');
    expect(readFileSync(join(reports, 'a.html'), 'utf8')).toBe('mine');
  });
});

describe('usage', () => {
  it.each([
    [{ jobs: '0' }, '--jobs 0: write a whole number from 1 to 256\n'],
    [{ jobs: '2.5' }, '--jobs 2.5: write a whole number from 1 to 256\n'],
    [{ only: ['calm', 'x*'] }, '--only x*: no shift is called so; there are calm, cut, late, less, lost, young\n'],
    [
      { junit: join('no-folder', 'x.xml') },
      'no-folder/x.xml: its folder cannot be written to (ENOENT); name another --junit file\n',
    ],
  ])('%j', async (options, err) => {
    expect(await shiftsHere([fleet(log, events)], options)).toEqual({ code: 2, out: '', err });
  });

  it('a folder that is not there, is empty, or is none', async () => {
    const [none, empty] = [temp('none'), folderOf({ 'README.md': '' })];
    expect(await shiftsHere([none])).toEqual({ code: 2, out: '', err: `${none}: no such folder\n` });
    expect((await shiftsHere([fleet(log, events), empty])).err).toMatch(/: there is no shift in it; a shift is /);
    expect((await shiftsHere([SHIFT])).err).toContain(
      'is no folder; one shift alone: axlepost replay LOG --expect FILE\n',
    );
  });
});
