import { execFileSync, spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { constants, gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { hostDisk } from '../../../adapters/recorder/disk.js';
import { SegmentLog } from '../../../adapters/recorder/segment-log.js';
import { Random } from '../../../simulator/random.js';
import { printedSeed } from '../../support/seed.js';
import { tempFolder } from './live-run.js';

const random = new Random(printedSeed('segment log'));

/** Text that packs badly, so that one call gives more than one buffer of the packer. */
function text(bytes: number): string {
  let out = '';
  while (out.length < bytes) out += `${random.whole(0, 2 ** 31).toString(16)}\n`;
  return out;
}

const begun = (packed: Buffer): string =>
  gunzipSync(packed, { finishFlush: constants.Z_SYNC_FLUSH }).toString('latin1');

describe('the log of a segment', () => {
  it('unpacks after each call to all that was given, from what is in the file', async () => {
    const path = join(tempFolder(), 'a.log.gz');
    const log = new SegmentLog(await hostDisk.create(path));
    let all = '';
    for (const bytes of [1, 70, 65_536, 200_000, 3, 65_536]) {
      const more = text(bytes);
      await log.append(Buffer.from(more));
      all += more;
      expect(begun(readFileSync(path))).toBe(all);
      expect(log.bytes).toBe(readFileSync(path).length);
    }
    await log.end();
    expect(gunzipSync(readFileSync(path)).toString('latin1')).toBe(all);
    expect(log.bytes).toBe(readFileSync(path).length);
  });

  it('an empty one is valid gzip', async () => {
    const path = join(tempFolder(), 'empty.log.gz');
    await new SegmentLog(await hostDisk.create(path)).end();
    expect(gunzipSync(readFileSync(path)).length).toBe(0);
  });

  it('cut anywhere, zcat gives what there is', async () => {
    if (spawnSync('zcat', ['--version']).status !== 0) throw new Error('zcat (gzip) is not installed');
    const path = join(tempFolder(), 'cut.log.gz');
    const log = new SegmentLog(await hostDisk.create(path));
    let all = '';
    for (let n = 0; n < 6; n++) {
      const more = text(3000);
      await log.append(Buffer.from(more));
      all += more;
    }
    await log.end();
    const packed = readFileSync(path);
    for (let n = 0; n < 10; n++) {
      const cut = path.replace('cut', `cut-${n}`);
      writeFileSync(cut, packed.subarray(0, random.whole(20, packed.length - 1)));
      const seen = spawnSync('zcat', [cut], { encoding: 'latin1' });
      expect(seen.stderr).toContain('unexpected end of file');
      expect(all.startsWith(seen.stdout)).toBe(true);
    }
    expect(execFileSync('zcat', [path], { encoding: 'latin1' })).toBe(all);
  });
});
