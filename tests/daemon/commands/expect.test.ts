import { chmodSync, existsSync, readdirSync, readFileSync, statSync, symlinkSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { afterEach, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest';
import { axlepost, canonical, lampLog, replayHere, TRUCK, temp, text } from './helpers.js';

const LAMP = temp('lamp.log', text(lampLog()));

let files = 0;
const expected = (lines: readonly string[]): string =>
  temp(`expected-${++files}.events`, lines.map((line) => `${line}\n`).join(''));
const compare = (file: string, more: object = {}) => replayHere([LAMP], { expect: file, ...more });
/** The lamp is told of twice: raised at 0:00:25, cleared at 0:01:10. */
let events: string[] = [];
let [raised, cleared] = [{} as Record<string, unknown>, {} as Record<string, unknown>];
const at = (event: Record<string, unknown>, more: object): string => JSON.stringify({ ...event, ...more });

beforeAll(async () => {
  events = (await canonical([LAMP])).out.trimEnd().split('\n');
  [raised, cleared] = events.map((line) => JSON.parse(line)) as [typeof raised, typeof cleared];
});

describe('--expect', () => {
  it('0 when they are the same, and says so', async () => {
    const file = expected(events);
    const { code, out, err } = await compare(file, { strict: true });
    expect({ code, out }).toEqual({ code: 0, out: '' });
    expect(err).toContain(
      `${file}: as expected (2 events; 0 missing, 0 extra, 0 moved, 0 of other urgency, 0 with other numbers)\n`,
    );
  });

  it('3 when they differ: under each alert, what moved before what is missing and what is new', async () => {
    const file = expected([
      at(raised, { at: (raised.at as number) - 12_000 }),
      at(cleared, { urgency: 'plan' }),
      at(cleared, { subject: 'lamp/other' }),
      at(cleared, { at: 5_000_000 }),
    ]);
    const { code, out, err } = await compare(file);
    expect(code).toBe(3);
    expect(out).toBe(
      text([
        'red stop lamp, bus main: red stop lamp',
        '  moved     0:00:25  raised, pull over: by +12 s from 0:00:13',
        '  urgency   0:01:10  cleared, pull over: expected plan',
        '  missing   1:23:20  cleared, pull over',
        'red stop lamp, bus other: red stop lamp',
        '  missing   0:01:10  cleared, pull over',
      ]),
    );
    expect(err).toContain(
      'not as expected (4 events; 2 missing, 0 extra, 1 moved, 1 of other urgency, 0 with other numbers)\n',
    );
  });

  it.each([
    ['time', { at: 1000 }],
    ['urgency', { urgency: 'plan' }],
    ['subject', { subject: 'lamp/other' }],
    ['rule', { rule: 'bus-off' }],
    ['change', { change: 'worse' }],
  ])('another %s alone gives 3', async (_, more) => {
    expect((await compare(expected([at(raised, more), events[1]!]))).code).toBe(3);
  });

  it('other numbers are told and fail only with --strict', async () => {
    const measured = { ...(raised.measured as object), code: 3 };
    const file = expected([at(raised, { measured }), events[1]!]);
    const loose = await compare(file);
    expect(loose).toMatchObject({
      code: 0,
      out: text([
        'red stop lamp, bus main: red stop lamp',
        '  numbers   0:00:25  raised, pull over: red stop lamp on (code 1), expected red',
        '                     stop lamp on (code 3)',
      ]),
    });
    expect((await compare(file, { strict: true })).code).toBe(3);
  });

  it('differences do not get among events on stdout', async () => {
    const { code, out, err } = await compare(expected([]), { events: '-', format: 'canonical' });
    expect({ code, out }).toEqual({ code: 3, out: text(events) });
    expect(err).toContain('  extra     0:00:25  raised, pull over\n');
  });

  it.each([
    ['no JSON', 'x'],
    ['another object', '{"a":1}'],
    ['null', 'null'],
  ])('an expected file with %s is wrong usage, with its line, with --bless too', async (_, line) => {
    const file = expected([events[0]!, line]);
    for (const more of [{}, { bless: true, yesBless: true }]) {
      const { code, err } = await compare(file, more);
      expect({ code, err }).toEqual({
        code: 2,
        err: `${file}:2: no canonical event; make the file with "replay --events FILE --format canonical"\n`,
      });
    }
    expect(readFileSync(file, 'utf8')).toBe(text([events[0]!, line]));
  });

  it('a missing expected file is wrong usage', async () => {
    const { code, err } = await compare(temp('none.events'));
    expect(code).toBe(2);
    expect(err).toMatch(/^.*none\.events: no such file; --bless makes it of what comes\n$/);
  });

  it.each([
    ['bless', '--bless writes the file of --expect; add --expect FILE\n'],
    ['strict', '--strict says how --expect compares; add --expect FILE\n'],
    ['allDifferences', '--all-differences says what --expect shows; add --expect FILE\n'],
  ])('%s alone is wrong usage', async (option, err) => {
    expect(await replayHere([LAMP], { [option]: true })).toEqual({ code: 2, out: '', err });
  });

  it('the expected file is not written by --events or --store', async () => {
    const file = temp('same.events');
    const line = `${file}: is what --expect compares with; name another file for --events or --store\n`;
    for (const more of [{ events: file }, { store: file }])
      expect(await compare(file, { bless: true, yesBless: true, ...more })).toEqual({ code: 2, out: '', err: line });
    expect(existsSync(file)).toBe(false);
  });
});

describe('--bless', () => {
  beforeEach(() => void vi.stubEnv('CI', ''));
  afterEach(() => void vi.unstubAllEnvs());
  const bless = (file: string, more: object = {}) => compare(file, { bless: true, ...more });

  it('makes the file where there is none, and what came is then as expected', async () => {
    const file = temp('new.events');
    const { code, out, err } = await bless(file);
    expect({ code, out }).toEqual({ code: 0, out: '' });
    expect(err).toContain(`${file}: written (2 events; new)\n`);
    expect(readFileSync(file, 'utf8')).toBe(text(events));
    expect((await compare(file, { strict: true })).code).toBe(0);
  });

  it('shows the difference that is accepted, other numbers too, and leaves nothing beside the file', async () => {
    const file = expected([at(raised, { at: 24_000, since: 24_000 }), at(cleared, { since: 23_000 })]);
    const { code, out, err } = await bless(file);
    expect({ code, out }).toEqual({
      code: 0,
      out: text([
        'red stop lamp, bus main: red stop lamp',
        '  moved     0:00:25  raised, pull over: by +1 s from 0:00:24',
        '  numbers   0:01:10  cleared, pull over: since 0:00:25, expected 0:00:23',
      ]),
    });
    expect(err).toContain(
      'written (2 events; 0 missing, 0 extra, 1 moved, 0 of other urgency, 1 with other numbers)\n',
    );
    expect(readFileSync(file, 'utf8')).toBe(text(events));
    expect(readdirSync(temp('.')).filter((name) => name.endsWith('.new'))).toEqual([]);
  });

  it('accepts numbers alone too, without --strict', async () => {
    const file = expected([at(raised, { measured: null }), events[1]!]);
    expect((await bless(file)).code).toBe(0);
    expect(readFileSync(file, 'utf8')).toBe(text(events));
  });

  it('what is as expected is not written again', async () => {
    const file = expected(events);
    const { ino, mtimeNs } = statSync(file, { bigint: true });
    const { code, err } = await bless(file);
    expect({ code, err: err.split('\n').at(-2) }).toEqual({ code: 0, err: `${file}: as expected already (2 events)` });
    expect(statSync(file, { bigint: true })).toMatchObject({ ino, mtimeNs });
  });

  it('nothing is written of a log that could not be read whole', async () => {
    const file = expected([events[1]!]);
    const whole = gzipSync(readFileSync(LAMP));
    const cut = temp('cut.log.gz', whole.subarray(0, whole.length - 20));
    const { code, out, err } = await replayHere([cut], { expect: file, bless: true });
    expect(code).toBe(1);
    expect(out).toContain('  extra ');
    expect(err).toContain(`${file}: not written, as not every log could be read to its end\n`);
    expect(readFileSync(file, 'utf8')).toBe(text([events[1]!]));
  });

  it('a link stays one, and so do permissions', async () => {
    const [file, link] = [expected([]), temp('link.events')];
    chmodSync(file, 0o600);
    symlinkSync(file, link);
    expect((await bless(link)).code).toBe(0);
    expect({ mode: statSync(file).mode & 0o777, text: readFileSync(file, 'utf8') }).toEqual({
      mode: 0o600,
      text: text(events),
    });
  });

  it('a folder that is not there is one clear line', async () => {
    const file = temp('no-folder/x.events');
    const { code, err } = await bless(file);
    expect(code).toBe(1);
    expect(err.split('\n').at(-2)).toBe(`${file}: cannot be written (ENOENT); check its folder`);
  });

  it.each(['true', '1', 'yes'])(
    'is refused where CI is "%s", before anything is read, unless it is said',
    async (ci) => {
      vi.stubEnv('CI', ci);
      const file = temp(`ci-${ci}.events`);
      const refused = await bless(file);
      expect(refused).toMatchObject({
        code: 2,
        out: '',
        err: expect.stringMatching(/^--bless: CI is set, .*--yes-bless/),
      });
      expect(existsSync(file)).toBe(false);
      expect((await bless(file, { yesBless: true })).code).toBe(0);
      expect(existsSync(file)).toBe(true);
    },
  );

  it('CI that says no is no CI', async () => {
    vi.stubEnv('CI', 'false');
    expect((await bless(temp('no-ci.events'))).code).toBe(0);
  });
});

describe('in the program', () => {
  it('takes the options, and has an exit code', async () => {
    const file = temp('program.events');
    const args = ['replay', LAMP, '--config', TRUCK, '--expect', file];
    expect((await axlepost([...args, '--bless', '--yes-bless'])).code).toBe(0);
    expect((await axlepost([...args, '--strict', '--all-differences'])).code).toBe(0);
  });
});
