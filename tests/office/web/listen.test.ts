import { once } from 'node:events';
import { mkdtempSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { connect, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it, onTestFinished } from 'vitest';
import { NAME, PASSWORD, startRig } from './support/board.js';
import { LiveReader, raw } from './support/live-reader.js';

const ORIGIN = 'https://board.northline.example';
const tcp = (host: string, port = 0) => ({ kind: 'tcp', host, port }) as const;

function socketPath(): string {
  const folder = mkdtempSync(join(tmpdir(), 'board-socket-'));
  onTestFinished(() => rmSync(folder, { recursive: true }));
  return join(folder, 'board.sock');
}

describe('where it listens', () => {
  it('is said in one line, with the address that people use', async () => {
    const plain = await startRig();
    expect(plain.lines).toEqual([`info the board is at http://127.0.0.1:${plain.port}`]);
    expect(plain.server.url).toBe(`http://127.0.0.1:${plain.port}`);
    const named = await startRig({ settings: { origin: ORIGIN } });
    expect(named.lines).toEqual([`info the board is at ${ORIGIN}, from http://127.0.0.1:${named.port}`]);
    expect(named.server.url).toBe(ORIGIN);
  });

  it('off loopback without TLS is warned of, once; with TLS in front it is not', async () => {
    const plain = await startRig({ settings: { listen: tcp('0.0.0.0') } });
    expect(plain.lines.filter((line) => line.startsWith('warn'))).toEqual([
      expect.stringMatching(/is reached without TLS: passwords can be read on the way; .*origin: https/),
    ]);
    expect((await plain.ask('/me')).status).toBe(401);
    const tls = await startRig({ settings: { listen: tcp('0.0.0.0'), origin: ORIGIN } });
    expect(tls.lines.filter((line) => line.startsWith('warn'))).toEqual([]);
  });

  it('may be ::1, where Host and Origin are written in brackets', async () => {
    const rig = await startRig({ settings: { listen: tcp('::1') } }).catch((error: Error) => error);
    if (rig instanceof Error) {
      // A machine without IPv6.
      expect(rig.message).toContain('is no address of this machine');
      return;
    }
    const answer = await fetch(`${rig.server.listening}/sign-in`, {
      method: 'POST',
      headers: { origin: rig.server.listening, 'content-type': 'application/json' },
      body: JSON.stringify({ name: NAME, password: PASSWORD }),
    });
    expect(answer.status).toBe(204);
  });

  it('is told when it is in use, or cannot be', async () => {
    const { port } = await startRig();
    await expect(startRig({ settings: { listen: tcp('127.0.0.1', port) } })).rejects.toThrow(
      `the board cannot listen on 127.0.0.1:${port}: it is in use; name another one in the office file (board: {listen})`,
    );
    await expect(startRig({ settings: { listen: tcp('192.0.2.1') } })).rejects.toThrow(/is no address of this machine/);
    const listen = { kind: 'unix', path: join(socketPath(), 'x', 'board.sock') } as const;
    await expect(startRig({ settings: { listen, origin: ORIGIN } })).rejects.toThrow(/^the board cannot listen on /);
  });

  it.each([
    'board.northline.example',
    'https://board.northline.example/',
    'https://a@board.example',
    'ftp://x',
    'https://x/y',
  ])('%s is no address for people', async (origin) => {
    await expect(startRig({ settings: { origin } })).rejects.toThrow(`board.origin ${origin} is no address such as`);
  });
});

describe('a unix socket', () => {
  it('serves everything, to its owner and group', async () => {
    const path = socketPath();
    const { ask, signIn, lines } = await startRig({ settings: { listen: { kind: 'unix', path }, origin: ORIGIN } });
    expect(lines).toEqual([`info the board is at ${ORIGIN}, from unix:${path}`]);
    expect(statSync(path).mode & 0o777).toBe(0o660);
    expect((await ask('/')).status).toBe(200);
    const headers = await signIn();
    expect((await ask('/sign-out', { method: 'POST', headers })).status).toBe(204);
    expect((await ask('/', { headers: { host: 'board.northline.example' } })).status).toBe(200);
    expect((await ask('/', { headers: { host: 'board.example' } })).status).toBe(421);
  });

  it('needs the address that people use', async () => {
    const listen = { kind: 'unix', path: socketPath() } as const;
    await expect(startRig({ settings: { listen } })).rejects.toThrow(
      /unix socket needs the address in people's browsers/,
    );
  });

  it('that a killed process has left is replaced; one that is listened on, or another file, is not', async () => {
    const settings = (path: string) => ({ listen: { kind: 'unix', path } as const, origin: ORIGIN });
    const left = socketPath();
    const former = createServer().listen(left);
    await once(former, 'listening');
    await expect(startRig({ settings: settings(left) })).rejects.toThrow(/is in use/);
    expect(statSync(left).isSocket()).toBe(true);
    former.close();
    await once(former, 'close');

    const { server } = await startRig({ settings: settings(left) });
    await server.close();
    const file = socketPath();
    writeFileSync(file, 'kept');
    await expect(startRig({ settings: settings(file) })).rejects.toThrow(/there is a file, and it is no socket/);
    expect(statSync(file).size).toBe(4);
  });
});

describe('closing', () => {
  it('ends streams and idle connections', async () => {
    const rig = await startRig({ limits: { closeMs: 600_000 } });
    const { cookie } = await rig.signIn();
    const reader = await LiveReader.open(rig, { cookie });
    const idle = connect(rig.port, '127.0.0.1');
    idle.write(`GET / HTTP/1.1\r\nHost: 127.0.0.1:${rig.port}\r\n\r\n`);
    await once(idle, 'data');
    const ended = once(idle, 'close');
    await rig.server.close();
    await ended;
    await reader.until((each) => each.ended);
    await expect(rig.ask('/')).rejects.toThrow(/ECONNREFUSED/);
    await rig.server.close();
  });

  it('cuts who has begun a request and says nothing more', async () => {
    const rig = await startRig({ limits: { closeMs: 100 } });
    const silent = connect(rig.port, '127.0.0.1');
    silent.write('GET / HTTP/1.1\r\n');
    await once(silent, 'connect');
    // Served after it: the first one's beginning has come.
    await rig.ask('/');
    const ended = once(silent, 'close');
    silent.on('error', () => {}).resume();
    await rig.server.close();
    await ended;
  });

  it('answers what is under way', async () => {
    const rig = await startRig();
    const { cookie } = await rig.signIn();
    let answer = (): void => {};
    const asked = new Promise<void>((isAsked) => {
      rig.source.events = () => {
        isAsked();
        return new Promise((resolve) => {
          answer = () => resolve([]);
        });
      };
    });
    const events = rig.ask('/events', { headers: { cookie } });
    await asked;
    const closed = rig.server.close();
    answer();
    expect((await events).json).toEqual([]);
    await closed;
  });
});

describe('what is no request', () => {
  it.each([
    'nonsense\r\n\r\n',
    'GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n',
    'GET / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nx',
    'GET / HTTP/1.1\r\nHo st: a\r\n\r\n',
    'GET / HTTP/1.1\r\n\r\n',
    '\x16\x03\x01\x00\x05hello\r\n\r\n',
  ])('%j is refused in one line, and the connection ends', async (text) => {
    const { port } = await startRig();
    const answer = await raw(port, text);
    expect(answer).toMatch(/^HTTP\/1.1 400 Bad Request\r\n/);
    expect(answer.split('HTTP/1.1').length).toBe(2);
  });

  it('two names in Host are refused', async () => {
    const { port } = await startRig();
    const host = `Host: 127.0.0.1:${port}\r\n`;
    const answer = await raw(port, `GET / HTTP/1.1\r\n${host}Host: board.example\r\nConnection: close\r\n\r\n`);
    expect(answer).toMatch(/^HTTP\/1.1 (?:400|421) /);
  });
});
