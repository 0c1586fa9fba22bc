import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { loadTruckFile } from '../../config/load.js';
import { blocks, page, section, tableRows } from './pages.js';

const README = 'README.md';
const CLI = 'dist/axlepost.js';
const scratch = mkdtempSync(join(tmpdir(), 'axlepost-readme-'));
afterAll(() => rmSync(scratch, { recursive: true }));

// Printed commands run where the project's files are and what they write harms nobody.
for (const name of ['config', 'dist', 'replay-logs', 'simulator', 'tests'])
  symlinkSync(resolve(name), join(scratch, name));

/** Runs a printed command; files that it makes go to a folder of its own. */
function run(command: string) {
  const [program, ...words] = command.split(' ');
  expect(program).toBe('node');
  const args = words.flatMap((word) => {
    if (word === 'config/examples/*.yaml')
      return ['T-1042', 'T-208', 'B-31'].map((name) => `config/examples/${name}.yaml`);
    return [word];
  });
  return spawnSync(process.execPath, args, { cwd: scratch, encoding: 'utf8', maxBuffer: 2 ** 26 });
}

const printed = blocks(section(README, '## Commands'), 'sh').flatMap((block) => block.trim().split('\n'));
const commandOf = (line: string): string => line.split(' ')[2]!;

describe('README', () => {
  it('says the two commands word for word, and package.json has what they call', () => {
    const [first, second] = blocks(section(README, '## Run it'), 'sh').map((block) => block.trim());
    expect([first, second]).toEqual(['npm ci && npm run demo', 'npm ci && npm test']);
    const { scripts, engines } = JSON.parse(readFileSync('package.json', 'utf8'));
    expect(Object.keys(scripts)).toEqual(expect.arrayContaining(['demo', 'test', 'bench']));
    expect(`Node ${engines.node.replace('>=', '')}`).toBe(/Node [\d.]+/.exec(section(README, '## Run it'))![0]);
    expect(readFileSync('.ci/run', 'utf8')).toContain("'npm ci && npm test'");
  });

  it('has a row for every folder that is there, and for no other', () => {
    const folders = tableRows(section(README, '## The flow')).map(([cell]) => /\[(\w[\w-]*)\/\]/.exec(cell!)![1]!);
    expect(folders.filter((folder) => !existsSync(folder))).toEqual([]);
    const ours = [
      'daemon',
      'adapters',
      'config',
      'simulator',
      'replay-logs',
      'scripts',
      'docs',
      'tests',
      'office',
      'report',
    ];
    expect([...folders].sort()).toEqual(ours.filter((folder) => existsSync(folder)).sort());
  });

  it('shows an excerpt of what the demonstration shift really gives', () => {
    const { stdout, status } = run(
      `node ${CLI} replay replay-logs/morning-run.log.gz --config config/examples/T-1042.yaml`,
    );
    expect(status).toBe(0);
    // Where lines are broken depends on the width of the terminal.
    const flow = (text: string): string => text.trim().replace(/\s+/g, ' ');
    const pieces = blocks(section(README, '## Run it'), 'text')[0]!.split('…').map(flow);
    expect(pieces.length).toBeGreaterThan(2);
    expect(pieces.filter((piece) => !flow(stdout).includes(piece))).toEqual([]);
  }, 60_000);

  // Those serve until they are stopped.
  it.each(printed.filter((line) => commandOf(line) !== 'run' && !line.endsWith(' office')))(
    '%s',
    (line) => {
      const { status, stderr } = run(line);
      expect(status, stderr).toBe(0);
    },
    60_000,
  );

  it('prints every command that the program has, and no other', () => {
    const { stdout } = spawnSync(process.execPath, [CLI, '--help'], { encoding: 'utf8' });
    const list = /^Commands:\n([\s\S]*?)\n\n/m.exec(stdout)![1]!;
    const has = [...list.matchAll(/^ {2}([a-z]+)\b/gm)].map(([, name]) => name!).filter((name) => name !== 'help');
    expect([...new Set(printed.map(commandOf))].sort()).toEqual(has.sort());
    expect(has).toContain('replay');
  });

  it('has a truck file that holds', () => {
    const [yaml] = blocks(section(README, '## The truck file'), 'yaml');
    const path = join(scratch, 'truck.yaml');
    writeFileSync(path, yaml!);
    const { problems, notes } = loadTruckFile(path);
    expect(problems ?? []).toEqual([]);
    expect(notes ?? []).toEqual([]);
  });

  it('keeps a place for the measured table', () => {
    expect(page(README)).toMatch(/<!-- bench -->[\s\S]+<!-- \/bench -->/);
  });
});
