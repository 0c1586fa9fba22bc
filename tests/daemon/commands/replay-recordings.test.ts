import { copyFileSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';
import { beforeAll, describe, expect, it } from 'vitest';
import { Database } from '../../../adapters/store/sqlite.js';
import type { Resume } from '../../../daemon/pipeline.js';
import type { Plain } from '../../../daemon/state.js';
import { LiveRun, replay, TWO_BUSES, tempFolder, ZERO_MS } from '../../adapters/recorder/live-run.js';
import { AFTER, BEFORE, type Item, play, SEGMENT_MS, SHIFT_S, shift } from '../../adapters/recorder/shift.js';

const PHASE_MS = 437;
const SECOND_ZERO_MS = ZERO_MS + 3_600_000;
const END_MS = 1000 * SHIFT_S + 90_000;

let folder = '';
let first: LiveRun;
let second: LiveRun;
let logs: string[] = [];

/** Two runs of the program in one folder, the second from the state that the first has left. */
beforeAll(async () => {
  first = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS, boot: 7 });
  folder = first.folder;
  await play(first, shift(PHASE_MS, 11));
  const state = JSON.parse(JSON.stringify(first.session.pipeline.snapshot(END_MS))) as Plain;
  const resume: Resume = { kind: 'restart', state, downMs: 3_600_000 - END_MS };
  const run = { zeroWallMs: SECOND_ZERO_MS, synced: true };
  second = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS, boot: 8, path: folder, resume, run });
  await play(second, shift(PHASE_MS + 301, 12));
  logs = named(folder);
});

const named = (where: string): string[] =>
  readdirSync(where)
    .filter((name) => name.endsWith('.log.gz'))
    .sort()
    .map((name) => join(where, name));

const ofRun = (boot: number): string[] => logs.filter((log) => log.includes(`-00000${boot}-`));
const sidecarOf = (log: string): string => log.replace('.log.gz', '.json');
const at = (line: string): number => (JSON.parse(line) as { at: number }).at;

/** Copies of logs with their sidecars, to be spoiled. */
function copies(of: readonly string[]): string[] {
  const where = tempFolder();
  return of.map((log) => {
    const copy = join(where, log.split('/').at(-1)!);
    copyFileSync(log, copy);
    copyFileSync(sidecarOf(log), sidecarOf(copy));
    return copy;
  });
}

function change(log: string, by: (sidecar: Record<string, unknown>) => void): void {
  const sidecar = JSON.parse(readFileSync(sidecarOf(log), 'utf8')) as Record<string, unknown>;
  by(sidecar);
  writeFileSync(sidecarOf(log), JSON.stringify(sidecar));
}

/** A truck file as the command line has it, with the limits of BEFORE or AFTER. */
function truckFile(config: typeof BEFORE): string {
  const path = join(tempFolder(), 'truck.yaml');
  const quick = `rules:
  tire-hot: {levels: {next-stop: {raiseAfter: 5 s, clearAfter: 10 s}}}
  air-low: {levels: {pull-over: {raiseAfter: 2 s, clearAfter: 10 s}}}
`;
  const more = '  tire-underinflated: {levels: {plan: {raise: 89 %, clear: 91 %}}}\n';
  writeFileSync(path, TWO_BUSES + quick + (config === AFTER ? more : ''));
  return path;
}

describe('recordings of several runs', () => {
  it('each run has its own start, zero and state; the events are those of both, in order', async () => {
    const { code, events, err } = await replay(logs);
    expect(code).toBe(0);
    expect(events).toEqual([...first.events, ...second.events]);
    expect(second.events.length).toBeGreaterThan(5);
    expect(err.split('\n').slice(0, 2)).toEqual([
      `${logs[0]}: starts from the recorded state at 0:00:00, configuration ${BEFORE.hash}`,
      `${ofRun(8)[0]}: starts from the recorded state at 0:00:00, configuration ${BEFORE.hash}`,
    ]);
  });

  it('in any order, and by the name of their folder', async () => {
    const { events, err } = await replay(logs);
    expect(await replay([...logs].reverse())).toEqual({ code: 0, events, err });
    expect(await replay([folder])).toEqual({ code: 0, events, err });
  });

  it('public events have the wall time of their run, numbers without a repetition, and the limits that decided them', async () => {
    const { events } = await replay(logs, { format: 'ndjson' });
    const read = events.map((line) => JSON.parse(line) as { seq: number; at: string; config: string });
    expect(read.map(({ seq }) => seq)).toEqual(read.map((_, n) => n + 1));
    const wall = [...first.events.map((e) => ZERO_MS + at(e)), ...second.events.map((e) => SECOND_ZERO_MS + at(e))];
    // From the recorded clock on, wall time is what it said.
    const said = read.map(({ at: text }) => Date.parse(text));
    expect(
      said.every((ms, n) => [0, 3210].includes((ms - wall[n]!) % 1_000_000) || Math.abs(ms - wall[n]!) < 4e6),
    ).toBe(true);
    expect(new Set(read.map(({ config }) => config))).toEqual(new Set([BEFORE.hash, AFTER.hash]));
  });

  it('--store: both runs are in it', async () => {
    const store = join(tempFolder(), 'replay.db');
    const { events, code } = await replay(logs, { store });
    expect({ code, events }).toEqual({ code: 0, events: [...first.events, ...second.events] });
    const db = new Database(store, { readonly: true });
    expect(db.prepare('SELECT boot, zero_wall_ms FROM runs ORDER BY boot').all()).toHaveLength(2);
    expect(db.prepare('SELECT count(*) FROM events').pluck().get()).toBeGreaterThanOrEqual(events.length);
    db.close();
  });

  it('--from and --to in seconds mean nothing with two starts; as a time they do', async () => {
    const { code, err } = await replay(logs, { to: '90' });
    expect({ code, err: err.split('\n').at(-2) }).toEqual({
      code: 2,
      err: '--from and --to: these logs are 2 runs, each with its own start; write a time like 2026-03-02T14:03:00Z',
    });
    const to = new Date(ZERO_MS + 120_000).toISOString();
    const { events } = await replay(logs, { to });
    expect(events).toEqual(first.events.filter((line) => at(line) < 120_000));
  });

  it('--speed: answers, reloads and the clock come at their time too', async () => {
    const { events } = await replay(ofRun(8).slice(-2), { speed: '100' });
    const { events: atOnce } = await replay(ofRun(8).slice(-2));
    expect(events).toEqual(atOnce);
  });
});

describe('what a replay starts from', () => {
  it('--fresh: without the state, and without decisions on alerts that it cannot know', async () => {
    const { code, events, err } = await replay(ofRun(8), { fresh: true });
    expect(code).toBe(0);
    expect(err).toContain(`${ofRun(8)[0]}: --fresh: starts without the recorded state\n`);
    expect(events).not.toEqual(second.events);
    expect(events.some((line) => /"change":"(taken|snoozed)"/.test(line))).toBe(false);
  });

  it('the same limits in a truck file: as recorded; the bus may have another interface', async () => {
    const config = truckFile(BEFORE);
    writeFileSync(config, readFileSync(config, 'utf8').replace('can0', 'vcan5').replace('can1', 'vcan6'));
    expect((await replay(ofRun(7), { config })).events).toEqual(first.events);
  });

  it('other limits: without the state, recorded reloads do not come back, the next run goes on from the one before', async () => {
    const config = truckFile(AFTER);
    const { code, events, err } = await replay(logs, { config });
    expect(code).toBe(0);
    expect(err.split('\n').slice(0, 2)).toEqual([
      `${logs[0]}: recorded with configuration ${BEFORE.hash}, judged with ${AFTER.hash}: starts without the recorded state`,
      `${ofRun(8)[0]}: recorded with configuration ${BEFORE.hash}, judged with ${AFTER.hash}: goes on from what was judged before it`,
    ]);
    expect(events.some((line) => line.includes('rule-changed'))).toBe(false);
    const public_ = await replay(logs, { config, format: 'ndjson' });
    const configs = public_.events.map((line) => (JSON.parse(line) as { config: string }).config);
    expect(new Set(configs)).toEqual(new Set([AFTER.hash]));
  });

  it('a log without its sidecar needs a truck file, and gives the frames alone', async () => {
    const [log] = copies(ofRun(7).slice(0, 1));
    rmSync(sidecarOf(log!));
    expect(await replay([log!])).toEqual({
      ...{ code: 2, events: [] },
      err: `${log}: is no recording of run with its sidecar; add --config truck.yaml\n`,
    });
    expect((await replay([log!], { config: truckFile(BEFORE) })).code).toBe(0);
  });

  it('an unpacked log still has its sidecar', async () => {
    const [log] = copies(ofRun(7).slice(1, 2));
    const plain = log!.replace('.gz', '');
    writeFileSync(plain, gunzipSync(readFileSync(log!)));
    expect((await replay([plain])).events).toEqual((await replay([log!])).events);
  });
});

describe('gaps', () => {
  it('a missing segment is said, and what comes after starts from its own state', async () => {
    const some = [...ofRun(7).slice(0, 2), ...ofRun(7).slice(4)];
    const { code, events, err } = await replay(some);
    expect(code).toBe(0);
    expect(err).toContain(`${some[2]}: 2 segments are missing before it; starts from its own state\n`);
    const { firstT } = JSON.parse(readFileSync(sidecarOf(some[2]!), 'utf8')) as { firstT: number };
    const { lastTick } = JSON.parse(readFileSync(sidecarOf(some[1]!), 'utf8')) as { lastTick: number };
    expect(events).toEqual(first.events.filter((line) => at(line) <= lastTick || at(line) > firstT));
  });

  it('a hole is said, and what comes after the segment starts from its own state', async () => {
    const some = copies(ofRun(7));
    change(some[1]!, (sidecar) => {
      sidecar.holes = [{ fromT: 50_000, toT: 51_500, frames: 77 }];
    });
    const { err, events } = await replay(some);
    expect(err).toContain(`${some[1]}: 77 frames between 0:00:50 and 0:00:51 were not recorded\n`);
    expect(err).toContain(
      `${some[2]}: 77 frames of the segment before it were not recorded; starts from its own state\n`,
    );
    expect(events).toEqual(first.events);
  });
});

describe('sidecars that are damaged', () => {
  const config = truckFile(BEFORE);
  it.each([
    ['cut short', (text: string) => text.slice(0, 900), 'is no JSON; it may be cut short'],
    ['of something else', () => '{"name": "shift"}', 'is not the sidecar of a recording (v)'],
    ['null', () => 'null', 'is not the sidecar of a recording'],
    [
      'with a word for a time',
      (text: string) => text.replace(/"firstT":\d+/, '"firstT":"noon"'),
      'is not the sidecar of a recording (firstT)',
    ],
    ['of a newer version', (text: string) => text.replace('{"v":1', '{"v":2'), 'was written by a newer version'],
    [
      'without buses',
      (text: string) => text.replace(/"buses":\[.*?\]/, '"buses":[]'),
      'is not the sidecar of a recording (configuration.buses)',
    ],
  ])('%s: one line, and the log is read without it', async (_, spoil, words) => {
    const [log] = copies(ofRun(7).slice(0, 1));
    writeFileSync(sidecarOf(log!), spoil(readFileSync(sidecarOf(log!), 'utf8')));
    const { code, err } = await replay([log!], { config });
    expect(err.split('\n')[0]).toBe(`${sidecarOf(log!)}: ${words}; the log is read without it`);
    expect(code).toBe(0);
  });

  it.each([
    ['no base64', '*** nothing ***'],
    ['another packing', Buffer.from('hello').toString('base64')],
    ['cut', null],
  ])('a state that is %s: the recording starts without it', async (_, state) => {
    const [log] = copies(ofRun(7).slice(1, 2));
    change(log!, (sidecar) => {
      sidecar.stateGzipBase64 = state ?? String(sidecar.stateGzipBase64).slice(0, 400);
    });
    const { code, err } = await replay([log!]);
    expect(err.split('\n')[0]).toBe(`${log}: its state cannot be read: starts without the recorded state`);
    expect(code).toBe(0);
  });

  it('a recording of an older version, which did not have a rule yet: the rule is off', async () => {
    const some = copies(ofRun(7));
    for (const log of some) {
      change(log, (sidecar) => {
        delete (sidecar.configuration as { rules: Record<string, unknown> }).rules['layout-mismatch'];
      });
    }
    const { code, events } = await replay(some);
    expect(code).toBe(0);
    expect(events.some((line) => line.includes('layout-mismatch'))).toBe(false);
  });
});

describe('a segment that has only an answer', () => {
  it('has no frames, and is no mistake', async () => {
    const run = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS });
    const items: Item[] = shift(3, 5);
    await play(run, items, 1000 * SHIFT_S + 200_000);
    const more = await LiveRun.start({ config: BEFORE, path: run.folder, boot: 2 });
    more.rare(5000, { kind: 'answer', answer: { trailer: 'TR-9', decisions: [] } });
    await more.stop(9000);
    const { code, err } = await replay([run.folder]);
    expect(code).toBe(0);
    expect(err).not.toContain('no frames');
  });
});

it('a folder without recordings is a mistake', async () => {
  const empty = tempFolder();
  mkdirSync(join(empty, 'more'));
  const { code, err } = await replay([empty], { config: truckFile(BEFORE) });
  expect({ code, err }).toEqual({ code: 1, err: `${empty}: there is no log in it\n` });
});
