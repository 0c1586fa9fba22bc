import { spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { pathToFileURL } from 'node:url';
import { describe, expect, it } from 'vitest';
import { createLogger, type Log } from '../../../adapters/log/logger.js';
import { HandTimers } from '../../support/timers.js';

class Bench {
  readonly timers = new HandTimers();
  readonly lines: { level: number; msg: string; [key: string]: unknown }[] = [];
  readonly log: Log = createLogger({
    timers: this.timers,
    destination: { write: (line) => void this.lines.push(JSON.parse(line)) },
  });

  get said(): string[] {
    return this.lines.map(({ msg }) => msg);
  }
}

describe('the same message', () => {
  it('is written five times a minute; then one line says how often it was left out', () => {
    const { log, timers, lines } = new Bench();
    for (let i = 0; i < 12; i++) log.logger.warn('can0: is down');
    expect(lines).toHaveLength(5);
    expect(timers.waiting).toEqual([60_000]);
    timers.fire();
    expect(lines).toHaveLength(6);
    expect(lines[5]).toMatchObject({ level: 40, msg: 'can0: is down (7 more of these in a minute)', suppressed: 7 });
    expect(log.counters).toEqual({ suppressed: 7, dropped: 0 });
    for (let i = 0; i < 6; i++) log.logger.warn('can0: is down');
    expect(lines).toHaveLength(11);
    expect(log.counters.suppressed).toBe(8);
  });

  it('five times in a minute is not told about, and may be said again in the next', () => {
    const bench = new Bench();
    for (let minute = 0; minute < 3; minute++) {
      for (let i = 0; i < 5; i++) bench.log.logger.info('x');
      bench.timers.now += 60_000;
    }
    expect(bench.said).toEqual(Array(15).fill('x'));
    expect(bench.timers.waiting).toEqual([]);
  });

  it('differs by level, by its words, and not by numbers beside it nor by what comes after 80 characters', () => {
    const bench = new Bench();
    const { logger } = bench.log;
    const long = 'y'.repeat(80);
    for (let i = 0; i < 6; i++) {
      logger.info({ rule: 'tire-hot', subject: 'tractor/1/left/single' }, 'raised');
      logger.info({ rule: 'tire-hot', subject: 'tractor/1/right/single' }, 'raised');
      logger.info({ frames: i }, 'counted');
      logger.warn({ frames: i }, 'counted');
      logger.info(`${long}${i}`);
      logger.error(new Error('disk I/O'));
      logger.error({ err: new Error('disk I/O') });
    }
    expect(bench.said.filter((msg) => msg === 'raised')).toHaveLength(10);
    expect(bench.said.filter((msg) => msg === 'counted')).toHaveLength(10);
    expect(bench.said.filter((msg) => msg.startsWith(long))).toHaveLength(5);
    expect(bench.said.filter((msg) => msg === 'disk I/O')).toHaveLength(5);
  });

  it('of a child logger is the same message', () => {
    const bench = new Bench();
    for (let i = 0; i < 4; i++) {
      bench.log.logger.info('x');
      bench.log.logger.child({ bus: i }).info('x');
    }
    expect(bench.said).toHaveLength(5);
  });

  it('fatal is always written', () => {
    const bench = new Bench();
    for (let i = 0; i < 20; i++) bench.log.logger.fatal('it ends');
    expect(bench.said).toHaveLength(20);
  });

  it('left out and not yet told is told at the end', () => {
    const bench = new Bench();
    for (let i = 0; i < 7; i++) bench.log.logger.info('x');
    bench.log.close();
    expect(bench.said.at(-1)).toBe('x (2 more of these in a minute)');
    expect(bench.timers.waiting).toEqual([]);
  });

  it('is remembered for at most 256 messages; nothing left out goes untold', () => {
    const bench = new Bench();
    for (let i = 0; i < 1_000; i++) for (let k = 0; k < 7; k++) bench.log.logger.info(`message ${i}`);
    expect(bench.timers.waiting).toHaveLength(256);
    bench.timers.fire();
    expect(bench.log.counters.suppressed).toBe(2_000);
    expect(bench.lines.reduce((sum, { suppressed = 0 }) => sum + Number(suppressed), 0)).toBe(2_000);
  });
});

/* The whole process, built. */

const LOGGER = pathToFileURL('dist/adapters/log/logger.js').href;
const script = (text: string): string[] => [
  '--input-type=module',
  '-e',
  `import { createLogger } from '${LOGGER}';
   const log = createLogger();
   const { logger } = log;
   process.on('uncaughtException', (error) => { logger.fatal({ err: error }, 'it ends'); process.exit(1); });
   ${text}`,
];
const numbered = (n: number): string => `for (let i = 0; i < ${n}; i++) logger.info('line ' + i);`;
const messages = (stderr: string): string[] =>
  stderr
    .trimEnd()
    .split('\n')
    .map((line) => JSON.parse(line).msg as string);
const lines = (n: number): string[] => Array.from({ length: n }, (_, i) => `line ${i}`);

describe('the last lines are there', () => {
  it.each([
    ['at a natural end', ''],
    ['at process.exit', 'process.exit(0);'],
  ])('%s', (_when, end) => {
    const { stderr, status } = spawnSync(process.execPath, script(`${numbered(2_000)} ${end}`), { encoding: 'utf8' });
    expect(status).toBe(0);
    expect(messages(stderr).sort()).toEqual(lines(2_000).sort());
  });

  it('at an exception that nobody caught, and the reason comes with its stack', () => {
    const { stderr, status } = spawnSync(process.execPath, script(`${numbered(2_000)} throw new Error('a mistake');`), {
      encoding: 'utf8',
    });
    expect(status).toBe(1);
    expect(messages(stderr).sort()).toEqual(['it ends', ...lines(2_000)].sort());
    expect(stderr).toMatch(/"stack":"Error: a mistake/);
  });

  it('at SIGTERM, what was left out included', async () => {
    const child = spawn(
      process.execPath,
      script(`process.once('SIGTERM', () => { ${numbered(500)} log.close(); clearInterval(busy); });
        const busy = setInterval(() => {}, 1000);
        for (let i = 0; i < 8; i++) logger.info('the same');
        process.stdout.write('up');`),
      { stdio: ['ignore', 'pipe', 'pipe'] },
    );
    let stderr = '';
    child.stderr.setEncoding('utf8').on('data', (text) => {
      stderr += text;
    });
    await once(child.stdout, 'data');
    child.kill('SIGTERM');
    await once(child, 'close');
    expect(messages(stderr).sort()).toEqual(
      [...Array(5).fill('the same'), 'the same (3 more of these in a minute)', ...lines(500)].sort(),
    );
  });
});

describe('nobody reads the log', () => {
  it('the program goes on; what does not fit is dropped and counted', async () => {
    const child = spawn(
      process.execPath,
      // Far more than a pipe and our own buffer hold. Written at once, this would stand still here.
      script(`const text = 'z'.repeat(1000);
        for (let i = 0; i < 5000; i++) logger.info(i + text);
        process.stdout.write(JSON.stringify(log.counters));`),
      { stdio: ['ignore', 'pipe', 'pipe'] },
    );
    const [told] = (await once(child.stdout, 'data')) as [Buffer];
    const { dropped } = JSON.parse(String(told)) as { dropped: number };
    expect(dropped).toBeGreaterThan(3_500);
    let written = 0;
    let rest = '';
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      const parts = (rest + text).split('\n');
      rest = parts.pop()!;
      written += parts.length;
    });
    await once(child, 'close');
    expect(written + dropped).toBe(5_000);
  });
});
