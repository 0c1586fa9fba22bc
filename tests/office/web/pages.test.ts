import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { PAGE, pageFolder, startRig } from './support/board.js';
import { raw } from './support/live-reader.js';

describe('files of the page', () => {
  it('are asked for anew each time, and sent when they have changed', async () => {
    const { ask } = await startRig();
    const { headers, body } = await ask('/board.js');
    expect([headers['cache-control'], headers['content-length'], body]).toEqual(['no-cache', '7', 'void 0;']);
    const etag = headers.etag!;
    const again = async (tag: string) => {
      const answer = await ask('/board.js', { headers: { 'if-none-match': tag } });
      return [answer.status, answer.body, answer.headers.etag];
    };
    expect(await again(etag)).toEqual([304, '', etag]);
    expect(await again(`W/${etag}`)).toEqual([304, '', etag]);
    expect(await again(`"other", ${etag}`)).toEqual([304, '', etag]);
    expect(await again('*')).toEqual([304, '', etag]);
    expect(await again('"other"')).toEqual([200, 'void 0;', etag]);
    expect((await ask('/board.css')).headers.etag).not.toBe(etag);
    const head = await ask('/board.js', { method: 'HEAD' });
    expect([head.status, head.body, head.headers['content-length']]).toEqual([200, '', '7']);
  });

  it('are those of known kinds in the folder itself, and no others', async () => {
    const folder = pageFolder({ ...PAGE, 'mark.svg': '<svg/>', 'board.js.map': '{}', '.env': 'x', 'notes.txt': 'x' });
    mkdirSync(join(folder, 'inner'));
    writeFileSync(join(folder, 'inner', 'more.js'), 'x');
    symlinkSync('/etc/passwd', join(folder, 'linked.html'));
    const { ask } = await startRig({ pageFolder: folder });
    const status = async (path: string) => (await ask(path)).status;
    expect(await status('/mark.svg')).toBe(200);
    for (const path of ['/board.js.map', '/.env', '/notes.txt', '/inner/more.js', '/linked.html', '/index.html']) {
      expect([path, await status(path)]).toEqual([path, 404]);
    }
  });

  it('change for the server when it starts, and not before', async () => {
    const folder = pageFolder();
    const { ask } = await startRig({ pageFolder: folder });
    writeFileSync(join(folder, 'board.js'), 'alert(1)');
    writeFileSync(join(folder, 'other.js'), 'alert(1)');
    expect((await ask('/board.js')).body).toBe('void 0;');
    expect((await ask('/other.js')).status).toBe(404);
  });

  it.each([
    '/../package.json',
    '/../../../../etc/passwd',
    '/..%2f..%2fetc%2fpasswd',
    '/%2e%2e/%2e%2e/etc/passwd',
    '/..\\..\\etc\\passwd',
    '/..%5c..%5cetc%5cpasswd',
    '/board.js/../../package.json',
    '//etc/passwd',
    '/./board.js',
    '/board.js%00.html',
    '/board.js;x',
    '/%',
    '/%zz',
    '/%c0%ae%c0%ae/etc/passwd',
    'board.js',
  ])('%s leads nowhere', async (path) => {
    const { port } = await startRig();
    const answer = await raw(port, `GET ${path} HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nConnection: close\r\n\r\n`);
    expect(answer).toMatch(/^HTTP\/1.1 40[04] /);
    expect(answer).toMatch(/\r\n\r\n\{"error":"[^"\n]+"\}$/);
    expect(answer.toLowerCase()).toContain('x-content-type-options: nosniff');
  });
});

describe('a folder without a page', () => {
  it('is told in one line before anything listens', async () => {
    const missing = join(pageFolder(), 'missing');
    await expect(startRig({ pageFolder: missing })).rejects.toThrow(
      /^the board's page cannot be read: ENOENT.*missing.*; build it with npm run build$/,
    );
    await expect(startRig({ pageFolder: pageFolder({ 'board.js': '' }) })).rejects.toThrow(
      /^the board's page is not in .*: no index.html; build it with npm run build$/,
    );
  });

  it('is not taken for one when it is something else', async () => {
    const many = Object.fromEntries(Array.from({ length: 70 }, (_, i) => [`${i}.js`, '']));
    await expect(startRig({ pageFolder: pageFolder({ ...PAGE, ...many }) })).rejects.toThrow(/is no page of the board/);
    const large = { ...PAGE, 'large.js': 'x'.repeat(1_000) };
    await expect(startRig({ pageFolder: pageFolder(large), limits: { pageBytes: 1_000 } })).rejects.toThrow(
      /is no page of the board/,
    );
  });
});
