import { spawn, spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { expect, it } from 'vitest';
import { Database } from '../../../adapters/store/sqlite.js';
import { axlepost, CLI, ROOT, temp } from './helpers.js';

it('demo --once ends by itself; what the office received is what the database holds', async () => {
  const { code, out, err } = await axlepost(['demo', '--once']);
  expect({ code, err }).toEqual({ code: 0, err: expect.stringMatching(/^3:0\d:\d\d of traffic, [^\n]+\n$/) });
  expect(out).not.toContain('\u001b');
  const heads = out.split('\n').filter((line) => /^\d\d:\d\d:\d\d /.test(line));
  const told = Number(/What the office received over MQTT \((\d+) messages/.exec(out)?.[1]);
  expect(heads).toHaveLength(told);
  expect(told).toBeGreaterThan(10);
  const path = /^ {2}(\/.+\.db)$/m.exec(out)![1]!;
  expect(out).toContain(`sqlite3 -box ${path} "SELECT`);
  const query = /"(SELECT[^"]+)"/.exec(out)![1]!;
  const db = new Database(path, { readonly: true });
  expect(db.prepare(query).all()).toHaveLength(told);
  expect(db.prepare('SELECT count(*) FROM outbox').pluck().get()).toBe(0);
  db.close();
  expect(out).toContain('does not replace');
  expect(out.split('\n').filter((line) => line.length > 100 && !line.includes(path))).toEqual([]);
});

/** Runs in a pseudo-terminal of so many columns; gives the screen's lines, without progress bars and colours, and the raw text. */
function onTerminal(columns: number, args: string[], env: Record<string, string> = {}) {
  const script = `
import fcntl, os, pty, struct, sys, termios
pid, fd = pty.fork()
if pid == 0:
    fcntl.ioctl(1, termios.TIOCSWINSZ, struct.pack('HHHH', 40, int(sys.argv[1]), 0, 0))
    os.execv(sys.argv[2], sys.argv[2:])
while True:
    try:
        data = os.read(fd, 65536)
    except OSError:
        break
    if not data: break
    os.write(1, data)
sys.exit(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]))
`;
  const clean: NodeJS.ProcessEnv = { ...process.env, TERM: 'xterm', ...env };
  if (env.NO_COLOR === undefined) delete clean.NO_COLOR;
  const { status, stdout } = spawnSync('python3', ['-c', script, String(columns), process.execPath, CLI, ...args], {
    encoding: 'utf8',
    cwd: ROOT,
    env: clean,
  });
  const bars = stdout.split('\r').filter((part) => part.startsWith('\u001b[Kreplay '));
  // biome-ignore lint/suspicious/noControlCharactersInRegex: the bar is taken away by control characters
  const screen = stdout.replaceAll('\r\n', '\n').replaceAll(/\r\u001b\[K[^\r\n]*(?=\r)/g, '');
  // biome-ignore lint/suspicious/noControlCharactersInRegex: colour codes are control characters
  const lines = screen.replaceAll(/\r?\u001b\[[0-9;]*[mK]/g, '').split('\n');
  return { status, lines, raw: stdout, bars };
}

// README: python3 is needed to install.
const hasTerminal = existsSync('/dev/ptmx') && spawnSync('python3', ['-c', 'import pty']).status === 0;

it.skipIf(!hasTerminal).each([60, 100])('on a terminal of %i columns nothing is broken by its edge', (columns) => {
  const { status, lines, raw, bars } = onTerminal(columns, ['demo', '--once']);
  expect(status).toBe(0);
  // One line each, whatever the width: what is copied, and what goes to stderr.
  const paths = /\/.*\.db|node dist|of traffic/;
  expect(lines.filter((line) => line.length > columns && !paths.test(line))).toEqual([]);
  expect(raw).toContain('\u001b[31mPULL OVER');
  expect(bars.some((bar) => /replay \[#*\.*\] \d+ % \d:\d\d:\d\d/.test(bar))).toBe(true);
  expect(bars.every((bar) => bar.replace('\u001b[K', '').split('\n')[0]!.length < columns)).toBe(true);
});

it.skipIf(!hasTerminal)('NO_COLOR takes the colours, not the bar', () => {
  const { raw, bars } = onTerminal(80, ['demo', '--once'], { NO_COLOR: '1' });
  // biome-ignore lint/suspicious/noControlCharactersInRegex: colour codes are control characters
  expect(raw).not.toMatch(/\u001b\[\d+m/);
  expect(bars.length).toBeGreaterThan(1);
});

it('works from another folder', async () => {
  const here = spawnSync(process.execPath, [CLI, 'demo', '--once'], { encoding: 'utf8', cwd: temp('') });
  expect(here.status).toBe(0);
  expect(here.stdout).toMatch(/node \S+\/dist\/axlepost\.js replay LOG --config \S+\/config\/examples\/T-1042\.yaml/);
});

it('the board is open with a truck on it until somebody ends it', { timeout: 120_000 }, async () => {
  const demo = spawn(process.execPath, [CLI, 'demo'], { stdio: ['ignore', 'pipe', 'pipe'] });
  let out = '';
  const url = await new Promise<string>((resolve) => {
    demo.stdout.on('data', (chunk: Buffer) => {
      out += chunk;
      const found = /^ {2}(http:\/\/127\.0\.0\.1:\d+)\n {2}name {6}(.+)\n {2}password {2}(.+)\n/m.exec(out);
      if (found !== null) resolve(found[1]!);
    });
  });
  const [, name, password] = /^ {2}name {6}(.+)\n {2}password {2}(.+)$/m.exec(out)!;
  expect((await fetch(`${url}/live`)).status).toBe(401);
  const signedIn = await fetch(`${url}/sign-in`, {
    method: 'POST',
    headers: { 'content-type': 'application/json', origin: url },
    body: JSON.stringify({ name, password }),
  });
  expect(signedIn.status).toBe(204);
  const cookie = signedIn.headers.get('set-cookie')!.split(';')[0]!;
  const live = await fetch(`${url}/live`, { headers: { cookie } });
  let seen = '';
  const decoder = new TextDecoder();
  // The first truck drives its past meanwhile: its open brake alert comes over MQTT, like everything else.
  for await (const chunk of live.body!) {
    seen += decoder.decode(chunk, { stream: true });
    if (seen.includes('"rule":"brake-overstroke"')) break;
  }
  expect(seen.startsWith('event: board\n') || seen.includes('\nevent: board\n')).toBe(true);
  expect(seen).toContain('"truck":"T-1042"');
  const ended = new Promise((resolve) => demo.once('exit', (code) => resolve(code)));
  demo.kill('SIGINT');
  expect(await ended).toBe(0);
});
