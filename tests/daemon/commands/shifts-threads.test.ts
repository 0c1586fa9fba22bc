import { spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync, renameSync, symlinkSync, watch } from 'node:fs';
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest';
import { Pool } from '../../../daemon/commands/shifts-pool.js';
import { CLI, SHIFT, TRUCK, text } from './helpers.js';
import { fleet, folderOf, lamp, put, shiftsHere, withTruck } from './shifts-folder.js';

let log = '';
let events: string[] = [];
beforeAll(async () => {
  ({ log, events } = await lamp());
});
beforeEach(() => void vi.stubEnv('CI', ''));
afterEach(() => void vi.unstubAllEnvs());

/** The built program, as a person starts it. */
function started(args: string[], tmp: string) {
  const child = spawn(process.execPath, [CLI, 'shifts', ...args], {
    env: { ...process.env, TMPDIR: tmp, CI: '', NO_COLOR: '1' },
  });
  const said = { out: '', err: '' };
  child.stdout.on('data', (piece) => {
    said.out += piece;
  });
  child.stderr.on('data', (piece) => {
    said.err += piece;
  });
  return { child, ended: once(child, 'close').then(([code]) => ({ code, ...said })) };
}

describe('threads', () => {
  const emptyFolder = (): string => folderOf({});

  it('two shifts are read at the same time, and what a thread leaves is taken away', async () => {
    const folder = folderOf({ 'a.log': log, 'b.log': log });
    const tmp = emptyFolder();
    const pipes = ['a.yaml', 'b.yaml'].map((name) => join(folder, name));
    for (const pipe of pipes) expect(spawnSync('mkfifo', [pipe]).status).toBe(0);
    const { ended } = started([folder, '--jobs', '2'], tmp);
    // A pipe opens for writing when somebody reads it, and neither truck file gets a byte before both are being read.
    const both = await Promise.all(pipes.map((pipe) => open(pipe, 'w')));
    for (const pipe of both) {
      await pipe.writeFile(readFileSync(TRUCK));
      await pipe.close();
    }
    const { code, out } = await ended;
    expect({ code, last: out.split('\n').at(-2) }).toEqual({
      code: 0,
      last: '2 shifts: 2 not expected yet; --bless makes it',
    });
    expect(readdirSync(tmp)).toEqual([]);
  });

  it.each([
    ['SIGINT', 130],
    ['SIGTERM', 143],
  ] as const)('%s ends them, takes away what was unpacked, and prints no table', async (signal, exitCode) => {
    const [folder, tmp] = [withTruck(folderOf({})), emptyFolder()];
    for (let i = 0; i < 20; i++) symlinkSync(SHIFT, join(folder, `${i}.log.gz`));
    // There before the program is, so that the folder for what is unpacked is not missed.
    const watcher = watch(tmp);
    const begun = once(watcher, 'change');
    const { child, ended } = started([folder, '--jobs', '1'], tmp);
    await begun;
    watcher.close();
    child.kill(signal);
    const { code, out, err } = await ended;
    expect({ code, out: out.includes('events'), err }).toEqual({
      code: exitCode,
      out: false,
      err: expect.stringMatching(/^stopped: \d+ of 20 shifts were run\n$/),
    });
    expect(readdirSync(tmp)).toEqual([]);
  });

  it('a thread that runs out of memory costs its own shift', async () => {
    const folder = withTruck(folderOf({ 'a.log': log, 'b.log': log }));
    const jobs = ['a', 'b'].map((name) => ({ logs: [join(folder, `${name}.log`)], config: TRUCK, report: null }));
    const ended: [number, string | null][] = [];
    const pool = new Pool(
      emptyFolder(),
      { onBegin: () => {}, onShare: () => {}, onEnd: (index, { failure }) => ended.push([index, failure]) },
      // Enough to begin on any Node, too little for the first, which is replaced; so is the second.
      { maxOldGenerationSizeMb: 8, maxYoungGenerationSizeMb: 1 },
    );
    await pool.run(jobs, [0, 1], 1);
    expect(ended).toEqual([
      [0, expect.stringContaining('memory')],
      [1, expect.stringContaining('memory')],
    ]);
  });
});

describe('on a terminal', () => {
  it('shows how far it is, and takes that away', async () => {
    const { out, err } = await shiftsHere([fleet(log, events)], {}, { isTTY: true, columns: 80 });
    // How often it is drawn in between depends on the machine.
    expect(err).toContain('\r\u001b[Kshifts [');
    expect(err).toContain('#] 100 % 6 of 6');
    expect(err.endsWith('\r\u001b[K')).toBe(true);
    // Colour, and the word with it.
    expect(out).toContain('\u001b[31mDIFFERS\u001b[0m');
  });

  it('shows nothing of that in a pipe, and no colour', async () => {
    const { out, err } = await shiftsHere([fleet(log, events)], { only: ['late'] });
    expect(out).toContain('DIFFERS');
    expect(out + err).not.toContain('\u001b');
  });
});

describe('a folder in a folder', () => {
  it('is a shift where its events stand beside it, or where it has only logs; else it has shifts of its own', async () => {
    const folder = withTruck(
      folderOf({
        'whole/1.log': text(log.trimEnd().split('\n').slice(0, 300)),
        'whole/2.log': text(log.trimEnd().split('\n').slice(300)),
        'whole.events': text(events),
        'young/can.log': log,
        'T-208/a.log': log,
        'T-208/a.events': text(events),
        'T-208/truck.yaml': readFileSync(TRUCK),
        'papers/list.txt': 'nothing',
      }),
    );
    const { code, out } = await shiftsHere([folder]);
    expect(code).toBe(0);
    expect(out).toMatch(/^ok .*whole\nnew .*young\nok .*T-208\/a$/m);
    expect((await shiftsHere([folder], { only: ['T-208/*'] })).out).toContain('\n1 shift: 1 as expected\n');
  });

  it('several that are named keep their names apart, and one that is named twice is run once', async () => {
    const [a, b] = [folderOf({}), folderOf({})];
    for (const folder of [a, b]) {
      put(folder, 'trips/x.log', log);
      withTruck(join(folder, 'trips'));
    }
    const { out } = await shiftsHere([join(a, 'trips'), join(b, 'trips'), `${a}/trips/`]);
    expect([...out.matchAll(/^new .* (\S+)$/gm)].map(([, name]) => name)).toEqual(['trips/x', 'trips-2/x']);
  });

  it('two logs of one name are told, and neither is taken', async () => {
    const folder = withTruck(folderOf({ 'a.log': log, 'a.pcap': '' }));
    const { code, out } = await shiftsHere([folder]);
    expect(code).toBe(1);
    expect(out).toContain('  a.log and a.pcap are there; keep one, or put all logs of the shift into a folder a\n');
    renameSync(join(folder, 'a.pcap'), join(folder, 'b.txt'));
    expect((await shiftsHere([folder])).code).toBe(0);
  });
});
