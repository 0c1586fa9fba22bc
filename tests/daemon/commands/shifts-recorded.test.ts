import { cpSync, readdirSync, renameSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest';
import { packCommand } from '../../../daemon/commands/pack.js';
import { LiveRun, TWO_BUSES } from '../../adapters/recorder/live-run.js';
import { BEFORE, play, SEGMENT_MS, shift } from '../../adapters/recorder/shift.js';
import { temp, text } from './helpers.js';
import { folderOf, shiftsHere } from './shifts-folder.js';

let live: LiveRun;
let folder = '';
const tmp = folderOf({});
const nobody = { write: (): void => {} };

/** What `run` recorded, once as it lies on its disk and once as `pack` makes it; no truck file anywhere. */
beforeAll(async () => {
  live = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS });
  await play(live, shift(437, 11));
  await live.stop();
  folder = folderOf({ 'loose.events': text(live.events), 'packed.events': text(live.events) });
  cpSync(live.folder, join(folder, 'loose'), { recursive: true });
  const truck = temp('recorded.yaml', `${TWO_BUSES}store: {path: none.db}\nrecorder: {path: ${live.folder}}\n`);
  const packed = temp('packed.tar');
  await packCommand({ config: truck, last: '1h', out: packed }, { out: nobody, err: nobody });
  renameSync(packed, join(folder, 'packed.tar'));
});
beforeEach(() => void vi.stubEnv('CI', '').stubEnv('TMPDIR', tmp));
afterEach(() => void vi.unstubAllEnvs());

describe('recordings of run', () => {
  it('in a folder or an archive give the events of the run, with the truck file that they carry', async () => {
    const { code, out } = await shiftsHere([folder], { strict: true });
    expect({ code, last: out.split('\n').at(-2) }).toEqual({ code: 0, last: '2 shifts: 2 as expected' });
    expect(live.events.length).toBeGreaterThan(3);
    expect(readdirSync(tmp)).toEqual([]);
  });

  it('are judged with the truck file of the folder where there is one, and say so', async () => {
    // Nothing of what happened is judged with it.
    const rules = [...new Set(live.events.map((line) => (JSON.parse(line) as { rule: string }).rule))];
    const off = rules.map((rule) => `  ${rule}: {enabled: no}\n`).join('');
    writeFileSync(join(folder, 'truck.yaml'), `${TWO_BUSES}rules:\n${off}`);
    const { code, out, err } = await shiftsHere([folder], { only: ['loose'] });
    expect(code).toBe(3);
    expect(out).toContain(`loose: not as expected (${live.events.length} missing)\n`);
    expect(err).toMatch(
      /^loose: .*: recorded with configuration \w+, judged with \w+: starts without the recorded state$/m,
    );
  });
});
