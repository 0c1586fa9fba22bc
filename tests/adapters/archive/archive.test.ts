import { execFileSync } from 'node:child_process';
import { createWriteStream, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Writable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { gzipSync } from 'node:zlib';
import { type Header, pack } from 'tar-stream';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { CONFIG, DATABASE, MANIFEST } from '../../../adapters/archive/manifest.js';
import { isArchive, openArchive } from '../../../adapters/archive/unpack.js';
import { ArchiveWriter } from '../../../adapters/archive/writer.js';

const root = mkdtempSync(join(tmpdir(), 'axlepost-tar-'));
afterAll(() => rmSync(root, { recursive: true, force: true }));
const NOW = new Date('2026-03-02T14:00:00Z');
const ABOUT = { v: 1 as const, fleet: 'northline', truck: 'T-1042', version: '0.1.0', made: NOW.toISOString() };

/** A folder for each test. */
let folder = '';
beforeEach(() => {
  folder = mkdtempSync(join(root, 'test-'));
});
const at = (name: string): string => join(folder, name);

async function written(name: string, texts: Record<string, string>): Promise<string> {
  const writer = new ArchiveWriter({ path: at(name), now: NOW });
  for (const [entry, text] of Object.entries(texts)) await writer.addText(entry, text);
  await writer.finish({ ...ABOUT, lastHours: 12, notes: [] });
  return at(name);
}

type Entry = Partial<Header> & { name: string; text?: string };

/** An archive with any entries, as somebody else may make one. */
async function foreign(entries: Entry[]): Promise<string> {
  const tar = pack();
  for (const { text = '', ...header } of entries) tar.entry(header, text);
  tar.finalize();
  await pipeline(tar, createWriteStream(at('foreign.tar')));
  return at('foreign.tar');
}

const LOG = 'recordings/T-1042-000001-000001.log.gz';
const SECOND = 'recordings/T-1042-000002-000001.log.gz';

describe('an archive', () => {
  it('is opened by GNU tar, with what its list says', async () => {
    const path = await written('a.tar', { 'versions.json': '{}', [LOG]: 'x'.repeat(100_000) });
    const names = execFileSync('tar', ['-tf', path], { encoding: 'utf8' }).trim().split('\n');
    expect(names).toEqual(['versions.json', LOG, MANIFEST]);
    execFileSync('tar', ['-xf', path, '-C', folder]);
    const sums = JSON.parse(readFileSync(at(MANIFEST), 'utf8')).entries as { name: string; sha256: string }[];
    const list = sums.map(({ name, sha256 }) => `${sha256}  ${name}\n`).join('');
    writeFileSync(at('sums'), list);
    expect(execFileSync('sha256sum', ['-c', 'sums'], { cwd: folder, encoding: 'utf8' })).toContain(`${LOG}: OK`);
  });

  it.each(['a.tar', 'a.tar.gz', 'a.tgz'])(
    '%s gives back what went in, recordings in the order of time',
    async (name) => {
      const path = await written(name, { [SECOND]: 'two', [LOG]: 'one', [DATABASE]: 'db', [CONFIG]: '{}' });
      expect(await isArchive(path)).toBe(true);
      const archive = await openArchive(path, { folder });
      expect(archive.problems).toEqual([]);
      expect(archive.recordings.map((log) => readFileSync(log, 'utf8'))).toEqual(['one', 'two']);
      expect(readFileSync(archive.database!, 'utf8')).toBe('db');
      expect(readFileSync(archive.config!, 'utf8')).toBe('{}');
      expect(archive.manifest).toMatchObject({ truck: 'T-1042', lastHours: 12 });
      await archive.close();
      expect(readdirSync(folder)).toEqual([name]);
    },
  );

  it('takes of a file that grows what it had at first', async () => {
    const source = at('growing');
    writeFileSync(source, Buffer.alloc(3_000_000, 1));
    let grown = false;
    const writer = new ArchiveWriter({
      path: at('g.tar'),
      now: NOW,
      onBytes: () => {
        if (!grown) writeFileSync(source, Buffer.alloc(1_000_000, 2), { flag: 'a' });
        grown = true;
      },
    });
    expect(await writer.addFile(LOG, source)).toBe(true);
    expect(await writer.addFile(SECOND, at('gone'))).toBe(false);
    const entries = await writer.finish({ ...ABOUT, lastHours: 1, notes: [] });
    expect(entries[0]).toMatchObject({ name: LOG, bytes: 3_000_000 });
    execFileSync('tar', ['-tf', at('g.tar')]);
  });

  it('that cannot be written to its end says so and leaves nothing', async () => {
    const full = new Writable({
      write: (_chunk, _encoding, done) => done(Object.assign(new Error('ENOSPC: no space left'), { code: 'ENOSPC' })),
    });
    const writer = new ArchiveWriter({ path: at('full.tar'), now: NOW, sink: () => full });
    writeFileSync(at('big'), Buffer.alloc(20_000_000));
    await expect(writer.addFile(LOG, at('big'))).rejects.toThrow('ENOSPC');
    await writer.abort();
    expect(readdirSync(folder)).toEqual(['big']);
  });

  it('given up leaves nothing', async () => {
    const writer = new ArchiveWriter({ path: at('x.tar'), now: NOW });
    await writer.addText('versions.json', '{}');
    await writer.abort();
    expect(readdirSync(folder)).toEqual([]);
  });
});

describe('an archive that is not to be trusted', () => {
  it.each<[string, Entry]>([
    ['a path upwards', { name: '../evil' }],
    ['a path upwards further in', { name: 'recordings/../../evil' }],
    ['an absolute path', { name: '/tmp/axlepost-evil' }],
    ['a hidden file', { name: 'recordings/.evil' }],
    ['a folder that we do not make', { name: 'evil/x' }],
    ['a name with a line end', { name: 'recordings/a\nb' }],
    ['a symbolic link', { name: LOG, type: 'symlink', linkname: '/etc/passwd' }],
    ['a hard link', { name: LOG, type: 'link', linkname: '/etc/passwd' }],
    ['a device', { name: LOG, type: 'character-device' }],
    ['a folder in the place of a file', { name: 'recordings', type: 'directory' }],
  ])('%s is left out and told; the rest is used', async (_what, header) => {
    const path = await foreign([header, { name: SECOND, text: 'two' }]);
    const archive = await openArchive(path, { folder });
    expect(archive.recordings.map((log) => readFileSync(log, 'utf8'))).toEqual(['two']);
    expect(archive.problems[0]).toMatch(/^"[^\n]*it is left out$/);
    expect(existsSync(join(root, 'evil')) || existsSync(at('evil')) || existsSync('/tmp/axlepost-evil')).toBe(false);
    await archive.close();
    expect(readdirSync(folder)).toEqual(['foreign.tar']);
  });

  it('a second file of one name does not replace the first', async () => {
    const path = await foreign([
      { name: LOG, text: 'first' },
      { name: LOG, text: 'second' },
    ]);
    const archive = await openArchive(path, { folder });
    expect(readFileSync(archive.recordings[0]!, 'utf8')).toBe('first');
    expect(archive.problems[0]).toContain('twice');
    await archive.close();
  });

  it('one that holds more than it may is refused, and nothing is left', async () => {
    const path = await written('big.tar', { [LOG]: 'x'.repeat(3000), [SECOND]: 'y'.repeat(3000) });
    await expect(openArchive(path, { folder, limits: { entries: 10, bytes: 5000 } })).rejects.toThrow('5000 bytes');
    await expect(openArchive(path, { folder, limits: { entries: 1, bytes: 1e6 } })).rejects.toThrow('1 files');
    expect(readdirSync(folder)).toEqual(['big.tar']);
  });

  it('a size that only the header claims is not believed', async () => {
    const path = await written('a.tar', { [LOG]: 'x'.repeat(600) });
    const bytes = readFileSync(path);
    // The size field of the first header, octal, 8 GB less a byte, and its checksum (POSIX.1-2017, pax).
    bytes.write('77777777777\0', 124, 'latin1');
    bytes.fill(' ', 148, 156);
    const sum = bytes.subarray(0, 512).reduce((total, byte) => total + byte, 0);
    bytes.write(`${sum.toString(8).padStart(6, '0')}\0 `, 148, 'latin1');
    writeFileSync(path, bytes);
    await expect(openArchive(path, { folder })).rejects.toThrow('no truck makes such an archive');
    expect(readdirSync(folder)).toEqual(['a.tar']);
  });

  it('a changed file is told, and so is a missing one', async () => {
    const path = await written('a.tar', { [LOG]: 'one', [SECOND]: 'two' });
    const bytes = readFileSync(path);
    bytes.write('ONE', 512, 'latin1');
    writeFileSync(path, bytes);
    const changed = await openArchive(path, { folder });
    expect(changed.problems).toEqual([`"${LOG}": is not what was packed (its checksum differs)`]);
    await changed.close();
    execFileSync('tar', ['--delete', '-f', path, SECOND]);
    const without = await openArchive(path, { folder });
    expect(without.problems).toContain(`"${SECOND}": is missing`);
    await without.close();
  });

  it('cut anywhere, plain or packed: what came before is used, or one line says why not', async () => {
    const whole = readFileSync(await written('a.tar', { [LOG]: 'one', [SECOND]: 'x'.repeat(5000) }));
    for (const bytes of [whole, gzipSync(whole)]) {
      for (let cut = 0; cut < bytes.length; cut += 97) {
        writeFileSync(at('cut.tar'), bytes.subarray(0, cut));
        const archive = await openArchive(at('cut.tar'), { folder }).catch((error: Error) => error);
        if (archive instanceof Error) expect(archive.message).not.toBe('');
        else {
          expect(archive.problems.join()).toMatch(/cut short|no list|missing/);
          await archive.close();
        }
      }
    }
    expect(readdirSync(folder).sort()).toEqual(['a.tar', 'cut.tar']);
  });

  it('what is no archive is not taken for one', async () => {
    writeFileSync(at('a.log'), '(1772456400.000000) can0 18FEF100#FF00FF00FF00FF00\n'.repeat(20));
    writeFileSync(at('a.log.gz'), gzipSync('(1772456400.000000) can0 18FEF100#FF00\n'));
    for (const name of ['a.log', 'a.log.gz', 'none']) expect(await isArchive(at(name))).toBe(false);
    expect(await isArchive('-')).toBe(false);
    await expect(openArchive(at('a.log'), { folder })).rejects.toThrow();
    await expect(openArchive(at('none'), { folder })).rejects.toThrow('ENOENT');
  });
});
