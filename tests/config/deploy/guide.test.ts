import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { readTruckFile } from '../../../config/load.js';
import { blocks, page } from '../../docs/pages.js';
import { LAYOUT } from '../../support/truck-file.js';

/* The guide is followed word for word by somebody in a cold yard: its commands must be those that there are. */

const FOLDER = 'config/deploy';
const GUIDE = `${FOLDER}/README.md`;
const CLI = 'dist/axlepost.js';
const text = page(GUIDE);
const lines = blocks(text, 'sh').flatMap((block) => block.trim().split('\n'));
const scratch = mkdtempSync(join(tmpdir(), 'axlepost-guide-'));
afterAll(() => rmSync(scratch, { recursive: true, force: true }));

const helps = new Map<string, string>();
/** What the program itself says of a command. */
function help(command: string): string {
  const known = helps.get(command);
  if (known !== undefined) return known;
  const { stdout, status } = spawnSync(process.execPath, [CLI, command, '--help'], { encoding: 'utf8' });
  expect(status, command).toBe(0);
  helps.set(command, stdout);
  return stdout;
}

/** The words after the program's name, for each time that a line starts it. */
function calls(line: string): string[] {
  const found = /(?:^(?:sudo )?axlepost|node \S+\/axlepost\.js|^docker run .* axlepost) ((?:--)?[a-z].*)$/.exec(line);
  return found === null ? [] : [found[1]!];
}

describe('the guide', () => {
  const called = lines.flatMap(calls).filter((call) => !call.startsWith('--version'));

  it('calls every command that a truck needs', () => {
    const commands = new Set(called.map((call) => call.split(' ')[0]));
    expect([...commands].sort()).toEqual(['check', 'mark', 'office', 'pack', 'run', 'survey']);
    expect(called.length).toBeGreaterThan(10);
  });

  it.each(called)('axlepost %s: command and options are there', (call) => {
    const [command, ...words] = call.split(' ');
    const options = words.filter((word) => word.startsWith('--'));
    expect(options.filter((option) => !new RegExp(`^ +${option}\\b`, 'm').test(help(command!)))).toEqual([]);
    // More options than the command cannot do without.
    for (const [, required] of help(command!).matchAll(/^ +(--config) .*truck file$/gm)) {
      if (command !== 'survey') expect(options).toContain(required);
    }
  });

  it('names in its text no option that no command has', () => {
    const named = [...text.matchAll(/`(check|survey|replay|pack|mark|run) (--[a-z-]+)/g)];
    expect(named.length).toBeGreaterThan(1);
    for (const [, command, option] of named) expect(help(command!)).toContain(option);
  });

  it('tells where each file of its folder goes, and copies files that are there', () => {
    for (const file of readdirSync(FOLDER)) if (file !== 'README.md') expect(text).toContain(`](${file})`);
    const copied = lines.flatMap((line) => [...line.matchAll(/(?:^| |\/opt\/axlepost\/)(config\/deploy\/\S+)/g)]);
    expect(copied.length).toBeGreaterThan(2);
    expect(copied.map(([, path]) => path!).filter((path) => !existsSync(path))).toEqual([]);
  });

  it('never sets a controller to a bitrate without listen-only', () => {
    const unit = readFileSync(`${FOLDER}/can-listen@.service`, 'utf8').split('\n');
    const set = [...lines, ...unit].filter((line) => line.includes(' type can '));
    expect(set.length).toBeGreaterThan(1);
    expect(set.filter((line) => !line.endsWith('listen-only on'))).toEqual([]);
    expect(readFileSync(`${FOLDER}/80-can0.network`, 'utf8')).toMatch(/^\[CAN\]\nBitRate=250K\nListenOnly=yes$/m);
  });

  it('has parts of truck files that hold', () => {
    const parts = blocks(text, 'yaml');
    expect(parts.length).toBeGreaterThan(1);
    for (const part of parts) {
      const trucks = 'config/examples/northline/trucks/T-1042.yaml';
      const [whole, path] = part.startsWith('from:') ? [part, trucks] : [`${LAYOUT}${part}`, 'truck.yaml'];
      const { problems, notes } = readTruckFile(whole, path);
      expect(problems ?? notes).toEqual([]);
    }
  });

  it('says what Axlepost is not', () => {
    expect(text).toMatch(
      /does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic/,
    );
  });
});

describe('files beside the guide', () => {
  it('kernel settings are names and numbers', () => {
    const settings = readFileSync(`${FOLDER}/90-axlepost.conf`, 'utf8')
      .split('\n')
      .filter((line) => /^[^#]/.test(line));
    expect(settings).toEqual(['net.core.rmem_default = 4194304', 'net.core.rmem_max = 4194304']);
    // Read where this kernel has them: the names are right.
    for (const setting of settings) {
      const path = `/proc/sys/${setting.split(' ')[0]!.replaceAll('.', '/')}`;
      if (existsSync('/proc/sys/net/core')) expect(existsSync(path), path).toBe(true);
    }
  });

  const verifies = spawnSync('systemd-analyze', ['--version']).status === 0;
  if (!verifies) console.warn('skipped: checking the unit of the interface needs systemd-analyze');
  it.skipIf(!verifies)('systemd takes the unit that brings the interface up', () => {
    // The instance is named by the file: one for can0.
    const path = join(scratch, 'can-listen@can0.service');
    writeFileSync(path, readFileSync(`${FOLDER}/can-listen@.service`));
    const { stderr, status } = spawnSync('systemd-analyze', ['verify', '--man=no', path], { encoding: 'utf8' });
    const ours = stderr.split('\n').filter((line) => line.includes('can-listen'));
    expect({ ours, status }).toEqual({ ours: [], status: 0 });
  });
});
