import {
  copyFileSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { packCommand } from '../../../daemon/commands/pack.js';
import { LiveRun, replay, TWO_BUSES } from '../../adapters/recorder/live-run.js';
import { BEFORE, play, SEGMENT_MS, shift } from '../../adapters/recorder/shift.js';
import { SHIFT } from './helpers.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-replay-archive-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const at = (name: string): string => join(folder, name);

// What is unpacked lies in the system's folder for temporary files while it is used: here one of our own.
const TMP = process.env.TMPDIR;
mkdirSync(at('tmp'));
process.env.TMPDIR = at('tmp');
afterAll(() => {
  if (TMP === undefined) delete process.env.TMPDIR;
  else process.env.TMPDIR = TMP;
});
const unpacked = (): string[] => readdirSync(tmpdir()).filter((name) => name.startsWith('axlepost-archive-'));

let live: LiveRun;
const nobody = (): void => {};

beforeAll(async () => {
  live = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS });
  await play(live, shift(437, 11));
  writeFileSync(at('truck.yaml'), `${TWO_BUSES}store: {path: ${at('none.db')}}\nrecorder: {path: ${live.folder}}\n`);
  for (const name of ['T-1042.tar', 'T-1042.tar.gz']) {
    const console = { out: { write: nobody }, err: { write: nobody } };
    await packCommand({ config: at('truck.yaml'), last: '1h', out: at(name) }, console);
  }
});

describe('replay of an archive', () => {
  it.each(['T-1042.tar', 'T-1042.tar.gz'])(
    '%s gives the events of the run, and leaves nothing behind',
    async (name) => {
      const { code, events } = await replay([at(name)]);
      expect(code).toBe(0);
      expect(events).toEqual(live.events);
      expect(events.length).toBeGreaterThan(3);
      expect(unpacked()).toEqual([]);
    },
  );

  it('says what is wrong with it and replays what there is', async () => {
    writeFileSync(at('cut.tar'), readFileSync(at('T-1042.tar')));
    truncateSync(at('cut.tar'), readFileSync(at('cut.tar')).length - 20_000);
    const { err, events } = await replay([at('cut.tar')]);
    expect(err).toMatch(/cut\.tar: [^\n]*cut short/);
    expect(events.length).toBeGreaterThan(0);
    expect(live.events.slice(0, events.length)).toEqual(events);
    expect(unpacked()).toEqual([]);
  });

  it.each([
    ['one without recordings', 'empty.tar', 'there are no recordings in it'],
    ['one that is none', 'broken.tar', 'broken.tar: '],
  ])('%s: one line, and nothing is left behind', async (_what, name, says) => {
    if (name === 'broken.tar') {
      const head = readFileSync(at('T-1042.tar')).subarray(0, 512);
      head.fill(0x37, 148, 156);
      writeFileSync(at(name), head);
    } else {
      writeFileSync(at('plain.yaml'), `${TWO_BUSES}store: {path: ${at('none.db')}}\n`);
      const console = { out: { write: nobody }, err: { write: nobody } };
      await packCommand({ config: at('plain.yaml'), last: '1h', out: at(name) }, console);
    }
    const { code, err } = await replay([at(name)]);
    expect(code).toBe(1);
    expect(err).toMatch(/^[^\n]+\n$/);
    expect(err).toContain(says);
    expect(unpacked()).toEqual([]);
  });

  it('in a folder, beside the same recordings loose and what is no log: each recording is read once', async () => {
    const stick = at('stick');
    mkdirSync(join(stick, 'loose'), { recursive: true });
    copyFileSync(at('T-1042.tar.gz'), join(stick, 'archive'));
    for (const name of readdirSync(live.folder)) copyFileSync(join(live.folder, name), join(stick, 'loose', name));
    writeFileSync(join(stick, 'photo.jpg'), Buffer.from('ffd8ffe000104a464946', 'hex'));
    writeFileSync(join(stick, 'foreign.log'), '(1772456400.000000) can0 18FEF100#FF00FF00FF00FF00\n');
    const { code, err, events } = await replay([stick]);
    const segments = readdirSync(live.folder).filter((name) => name.endsWith('.log.gz')).length;
    expect(code).toBe(0);
    expect(events).toEqual(live.events);
    expect(err.match(/: the same recording as .*; it is read once\n/g)).toHaveLength(segments);
    expect(err).toContain(
      `${stick}: ${segments} recordings, 1 archive; ` +
        'not used: foreign.log (a log without a sidecar: add --config), photo.jpg (a JPEG picture)\n',
    );
    expect(unpacked()).toEqual([]);
  });

  it('a log stays a log', async () => {
    const { code } = await replay([SHIFT], { config: 'config/examples/T-1042.yaml' });
    expect(code).toBe(0);
  });
});
