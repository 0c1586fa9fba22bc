import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gunzipSync, gzipSync } from 'node:zlib';
import { beforeAll, describe, expect, it } from 'vitest';
import { compareCommand } from '../../../daemon/commands/compare.js';
import { Failure } from '../../../daemon/commands/failure.js';
import { surveyCommand } from '../../../daemon/commands/survey.js';
import {
  canFrame,
  cooked,
  EXTENDED,
  enhanced,
  interfaceBlock,
  pcap,
  section,
} from '../../adapters/can/capture-bytes.js';
import { shared } from '../j1939/helpers.js';
import { axlepost, canonical, changes, type Ended, lampLog, SHIFT, START_S, TRUCK, temp, text } from './helpers.js';

const LINES = lampLog();
const PARTS = [LINES.slice(0, 160), LINES.slice(160, 480), LINES.slice(480)];

interface Line {
  us: bigint;
  word: number;
  hex: string;
}

function parsed(lines: readonly string[]): Line[] {
  return lines.map((line) => {
    const [, sec, us, id, hex] = /^\((\d+)\.(\d+)\) \S+ (\w+)#(\w*)$/.exec(line)!;
    return { us: BigInt(sec!) * 1_000_000n + BigInt(us!), word: EXTENDED | Number.parseInt(id!, 16), hex: hex! };
  });
}

const secondsOf = ({ us }: Line) => ({ sec: Number(us / 1_000_000n), part: Number(us % 1_000_000n) });

const pcapOf = (lines: readonly string[]) =>
  pcap(
    'little',
    227,
    parsed(lines).map((line) => ({ ...secondsOf(line), bytes: canFrame(line.word, line.hex) })),
  );

const cookedOf = (lines: readonly string[]) =>
  pcap(
    'big',
    113,
    parsed(lines).map((line) => ({ ...secondsOf(line), bytes: cooked(canFrame(line.word, line.hex, 'big')) })),
  );

const wrongOf = (lines: readonly string[]) =>
  pcap(
    'little',
    227,
    parsed(lines).map((line) => ({ ...secondsOf(line), bytes: canFrame(line.word, line.hex, 'little') })),
  );

const pcapngOf = (lines: readonly string[]) =>
  Buffer.concat([
    section('big'),
    interfaceBlock('big', 227, { name: 'can0', resolution: 9 }),
    ...parsed(lines).map(({ us, word, hex }) => enhanced('big', { stamp: us * 1000n, bytes: canFrame(word, hex) })),
  ]);

const FORMS: [string, Buffer][] = [
  ['pcap', pcapOf(LINES)],
  ['pcapng', pcapngOf(LINES)],
  ['a cooked capture', cookedOf(LINES)],
  ['pcap with ids in the wrong order', wrongOf(LINES)],
  ['gzipped pcap', gzipSync(pcapOf(LINES))],
  ['gzipped pcapng', gzipSync(pcapngOf(LINES))],
];

/** In this process, as the command line does it. */
async function inProcess(command: (console: Parameters<typeof compareCommand>[2]) => Promise<number>): Promise<Ended> {
  const [out, err]: [string[], string[]] = [[], []];
  const console = { out: { write: (s: string) => out.push(s) }, err: { write: (s: string) => err.push(s) } };
  let code: number;
  try {
    code = await command(console);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, out: out.join(''), err: err.join('') };
}

const compare = (logs: string[]) =>
  inProcess((console) => compareCommand(logs, { config: TRUCK, with: TRUCK }, console));
const survey = (logs: string[], config = TRUCK) =>
  inProcess((console) => surveyCommand(logs, { format: 'json', config }, console));

/** A survey without what it says of its files' names. */
const withoutNames = ({ out }: Ended): unknown => {
  const { source, ...report } = JSON.parse(out) as { source: { names: string[] } };
  return { ...report, source: { ...source, names: [] } };
};

let good: Ended;
let goodLog = '';
beforeAll(async () => {
  goodLog = temp('good.log', text(LINES));
  good = await canonical([goodLog]);
  expect(good.out.length).toBeGreaterThan(100);
});

describe.each(FORMS)('%s', (name, bytes) => {
  const path = () => temp(`${name}.bin`, bytes);

  it('gives the events of its candump text', async () => {
    const { code, out } = await canonical([path()]);
    expect(code).toBe(0);
    expect(out).toBe(good.out);
  });

  it('gives the survey and the comparison of its candump text', async () => {
    const [a, b] = [await survey([path()]), await survey([goodLog])];
    expect([a.code, b.code]).toEqual([0, 0]);
    expect(withoutNames(a)).toEqual(withoutNames(b));
    expect((await compare([path()])).out).toBe((await compare([goodLog])).out);
  });
});

it('a pipe that is given as a file is refused in one line: it can be read only once', async () => {
  const path = temp('pipe');
  expect(spawnSync('mkfifo', [path]).status).toBe(0);
  expect(await canonical([path])).toMatchObject({
    code: 2,
    out: '',
    err: `${path}: a pipe; send it to standard input and write - in its place\n`,
  });
});

it('a capture comes from stdin too', async () => {
  const { code, out } = await axlepost(['replay', '-', '--config', TRUCK, '--events', '-', '--format', 'canonical'], {
    stdin: gzipSync(pcapngOf(LINES)),
  });
  expect(code).toBe(0);
  expect(out).toBe(good.out);
});

// Optional on a workstation, required in CI.
const required = process.env.CI === 'true';
const noTool = spawnSync('editcap', ['--version']).status !== 0;
if (noTool && !required) console.warn('skipped: editcap is not installed; CI needs it');
const bench = shared('data/brake-bench/normal.log');

describe.skipIf((noTool && !required) || bench.absent)(`a recording of real controllers${bench.why}`, () => {
  it.each(['pcap', 'pcapng'])('converted by editcap to %s gives the events of its candump text', async (form) => {
    const path = temp(`bench.${form}`);
    expect(spawnSync('editcap', ['-F', form, bench.path, path]).status).toBe(0);
    const [text, capture] = [await canonical([bench.path]), await canonical([path])];
    expect([text.code, capture.code]).toEqual([0, 0]);
    expect(changes(text.out).length).toBeGreaterThan(3);
    expect(capture.out).toBe(text.out);
  });
});

describe('several files of one shift', () => {
  it('are read in the order of time, however they are named, and in any forms', async () => {
    const paths = [
      temp('c.log', text(PARTS[0]!)),
      temp('b.pcap', pcapOf(PARTS[1]!)),
      temp('a.cap.gz', gzipSync(pcapngOf(PARTS[2]!))),
    ];
    for (const order of [
      [0, 1, 2],
      [2, 1, 0],
      [1, 2, 0],
    ]) {
      const { code, out, err } = await canonical(order.map((n) => paths[n]!));
      expect(code).toBe(0);
      expect(out).toBe(good.out);
      expect(err.includes('read in the order of time: c.log, b.pcap, a.cap.gz\n')).toBe(order[0] !== 0);
    }
    expect(withoutNames(await survey([...paths].reverse()))).toEqual(withoutNames(await survey(paths)));
    expect((await compare([...paths].reverse())).out).toBe((await compare([goodLog])).out);
  });

  it('of two buses, each recorded by its own adapter, are put together by their stamps', async () => {
    const two = temp(
      'two.yaml',
      readFileSync(TRUCK, 'utf8').replace('  - {name: main, interface: can0}', '$&\n  - {name: body, interface: can1}'),
    );
    // The receiver of the tires (source address 0x33) talks on the second bus.
    const lines = gunzipSync(readFileSync(SHIFT)).toString('latin1').split('\n').slice(0, 150_000);
    const parted = lines.map((line) => (/ 1?\w+33#/.test(line) ? line.replace('can0', 'can1') : line));
    const of = (link: string): string => `${parted.filter((line) => line.includes(link)).join('\n')}\n`;
    const [body, main] = [temp('b.log', of('can1')), temp('m.log.gz', gzipSync(of('can0')))];
    const config = { config: two };
    const whole = await canonical([temp('both.log', parted.join('\n'))], config);
    expect(whole.code).toBe(0);
    expect(changes(whole.out).length).toBeGreaterThan(2);
    const split = await canonical([body, main], config);
    expect(split.err).toMatch(
      /^read in the order of time: m\.log\.gz, b\.log\nput together by their stamps: can0 \(m\.log\.gz\); can1 \(b\.log\)\n/,
    );
    expect(split.err).not.toContain('begins');
    expect(split.out).toBe(whole.out);
    const found = await survey([body, main], two);
    expect(JSON.parse(found.out).source).toMatchObject({ seams: 0 });
  }, 60_000);

  it('that overlap are told', async () => {
    const paths = [temp('second.log', text(LINES.slice(400))), temp('first.log', text(LINES.slice(0, 480)))];
    const { code, err } = await canonical(paths);
    expect(code).toBe(0);
    expect(err).toMatch(/second\.log: begins 9\.8 s before the end of first\.log; /);
  });

  it('whose stamps count from their own beginnings stay as they are named', async () => {
    const short = (startS: number) => text(lampLog({ seconds: 5, startS }));
    const { err } = await canonical([temp('x.log', short(50)), temp('y.log', short(3))]);
    expect(err).not.toContain('order of time');
    expect(err).toMatch(/y\.log: begins 51\.\d s before the end of x\.log; /);
  });
});

describe('a folder', () => {
  it('is searched for logs by their content; what is used and what is not is said', async () => {
    const stick = temp('stick');
    mkdirSync(join(stick, 'deep/er'), { recursive: true });
    mkdirSync(join(stick, '.Trash'));
    const put = (name: string, content: string | Uint8Array) => writeFileSync(join(stick, name), content);
    put('deep/er/late', pcapOf(PARTS[2]!));
    put('middle.txt', text(PARTS[1]!));
    put('z-early.gz', gzipSync(text(PARTS[0]!)));
    put('.Trash/old.log', text(lampLog({ startS: START_S - 5000 })));
    put('notes.txt', 'the left one was warm\n');
    put('deep/shift.zip', Buffer.from('PK\x03\x04', 'latin1'));
    put('net.pcap', pcap('little', 1, [{ bytes: Buffer.alloc(60) }]));
    put('empty.log', '');
    const { code, out, err } = await canonical([stick]);
    expect(code).toBe(0);
    expect(out).toBe(good.out);
    expect(err.split('\n').slice(0, 2)).toEqual([
      `${stick}: 3 logs; not used: deep/shift.zip (a zip archive), empty.log (has no frames), ` +
        'net.pcap (a pcap capture of Ethernet), notes.txt (text of another kind)',
      'read in the order of time: z-early.gz, middle.txt, late',
    ]);
    expect(withoutNames(await survey([stick]))).toEqual(withoutNames(await survey([goodLog])));
    expect((await compare([stick])).out).toBe((await compare([goodLog])).out);
  });

  it('without a log: one line, in every command', async () => {
    const other = temp('other');
    mkdirSync(other);
    for (let n = 10; n < 25; n++) writeFileSync(join(other, `n${n}.txt`), 'words\n');
    for (const ended of [await canonical([other]), await survey([other]), await compare([other])]) {
      expect(ended.code).toBe(1);
      expect(ended.out).toBe('');
      expect(ended.err).toMatch(
        /^\S+other: there is no log in it; not used: n10\.txt \(text of another kind\), .*n19\.txt [^,]*, and 5 more\n$/,
      );
    }
  });
});
