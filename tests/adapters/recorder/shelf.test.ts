import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { hostDisk } from '../../../adapters/recorder/disk.js';
import { parseSegmentName, segmentName } from '../../../adapters/recorder/names.js';
import { type Kept, nextToGo, Shelf } from '../../../adapters/recorder/shelf.js';
import { Random } from '../../../simulator/random.js';
import { printedSeed } from '../../support/seed.js';
import { tempFolder } from './live-run.js';

/** What is left, by the sentence in the documentation: written down once more, without any care for speed. */
function naive(all: readonly Kept[], maxBytes: number, written: string | null): string[] {
  let left = [...all];
  const size = (list: readonly Kept[]): number => list.reduce((sum, k) => sum + k.logBytes + k.sidecarBytes, 0);
  while (size(left) > maxBytes) {
    const candidates = left.filter((k) => k.name !== written);
    if (candidates.length === 0) break;
    const [pinned, others] = [candidates.filter((k) => k.pinned), candidates.filter((k) => !k.pinned)];
    const tooManyPinned = size(left.filter((k) => k.pinned)) > maxBytes / 2;
    const victim = tooManyPinned ? (pinned[0] ?? others[0]) : (others[0] ?? pinned[0]);
    left = left.filter((k) => k !== victim);
  }
  return left.map((k) => k.name);
}

describe('what goes when there is too much', () => {
  it('a grid of sizes, pins and caps against the sentence of the documentation', () => {
    const random = new Random(printedSeed('shelf'));
    let removed = 0;
    for (let n = 0; n < 3000; n++) {
      const all: Kept[] = Array.from({ length: random.whole(0, 12) }, (_, index) => {
        const place = { truck: 'T-1', start: 1 + (index >> 2), index: 1 + (index % 4) };
        const [logBytes, sidecarBytes] = [random.whole(0, 50), random.whole(0, 10)];
        return { name: segmentName(place), place, logBytes, sidecarBytes, pinned: random.chance(0.4) };
      });
      const maxBytes = random.whole(0, 300);
      const written = random.chance(0.7) ? (all.at(-1)?.name ?? null) : null;
      const left = [...all];
      for (let one = nextToGo(left, maxBytes, written); one !== null; one = nextToGo(left, maxBytes, written)) {
        left.splice(left.indexOf(one), 1);
        removed++;
      }
      expect(left.map((k) => k.name)).toEqual(naive(all, maxBytes, written));
    }
    expect(removed).toBeGreaterThan(1000);
  });
});

const put = (folder: string, name: string, bytes = 10): void => writeFileSync(join(folder, name), 'x'.repeat(bytes));

describe('the folder', () => {
  it('is taken stock of: leftovers go, strange files stay, pins are found, oldest first', async () => {
    const folder = tempFolder();
    put(folder, 'T-1042-000010-000001.log.gz', 100);
    writeFileSync(join(folder, 'T-1042-000010-000001.json'), '{"v":1,"pinned":true,"ended":true}');
    put(folder, 'T-1042-000002-000001.log.gz', 7);
    put(folder, 'T-1042-000002-000001.json.tmp');
    put(folder, 'T-1042-000003-000001.json');
    put(folder, 'notes.json');
    put(folder, 'precious.tmp');
    put(folder, 'shift.log.gz');
    mkdirSync(join(folder, 'T-1042-000001-000001.log.gz'));
    const shelf = new Shelf(hostDisk, folder, 1e6);
    await shelf.open();
    expect(shelf.kept.map(({ name, pinned }) => [name, pinned])).toEqual([
      ['T-1042-000002-000001', false],
      ['T-1042-000010-000001', true],
    ]);
    expect(shelf.bytes).toBe(7 + 100 + 34);
    expect(readdirSync(folder).sort()).toEqual([
      'T-1042-000001-000001.log.gz',
      'T-1042-000002-000001.log.gz',
      'T-1042-000010-000001.json',
      'T-1042-000010-000001.log.gz',
      'notes.json',
      'precious.tmp',
      'shift.log.gz',
    ]);
  });

  it('makes room by removing both files, and pins without touching the rest of a sidecar', async () => {
    const folder = tempFolder();
    for (const n of [1, 2, 3]) {
      put(folder, `T-1-000001-00000${n}.log.gz`, 100);
      writeFileSync(join(folder, `T-1-000001-00000${n}.json`), '{"v":1,"pinned":false,"a":"pinned\\":false"}\n');
    }
    const shelf = new Shelf(hostDisk, folder, 300);
    await shelf.open();
    await shelf.pin(shelf.kept[0]!);
    expect(readFileSync(join(folder, 'T-1-000001-000001.json'), 'utf8')).toBe(
      '{"v":1,"pinned":true,"a":"pinned\\":false"}\n',
    );
    await shelf.makeRoom(null);
    expect(readdirSync(folder).filter((name) => name.endsWith('gz'))).toEqual([
      'T-1-000001-000001.log.gz',
      'T-1-000001-000003.log.gz',
    ]);
    expect(existsSync(join(folder, 'T-1-000001-000002.json'))).toBe(false);
    expect(shelf.bytes).toBeLessThanOrEqual(300);
  });

  it.each(['T-1042-000012-000003', 'a-b-1-000001-1234567'])('%s is a name of ours', (name) => {
    const place = parseSegmentName(name);
    expect(place === null ? null : segmentName(place)).toBe(name);
  });

  it.each(['T-1042', 'T-1042-12-3', 'T 1-000001-000001', '-000001-000001', 'x-000001-000001.log'])(
    '%s is none',
    (name) => expect(parseSegmentName(name)).toBeNull(),
  );
});
