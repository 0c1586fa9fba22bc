import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { EXIT } from '../../../daemon/commands/failure.js';

const FILE = 'config/deploy/axlepost-office.service';
const text = readFileSync(FILE, 'utf8');

/** By directive, in order; as systemd.syntax(7) has it, without line continuations, of which there are none. */
const unit = new Map<string, string[]>();
for (const line of text.split('\n')) {
  const [, name, value] = /^(\w+)=(.*[^\\]|)$/.exec(line) ?? [];
  if (name !== undefined) unit.set(name, [...(unit.get(name) ?? []), value!]);
}
const value = (name: string): string => {
  expect(unit.get(name), name).toHaveLength(1);
  return unit.get(name)![0]!;
};

/** What each promise hangs on. */
const REQUIRED: [directive: string, value: string, why: string][] = [
  ['StartLimitIntervalSec', '0', 'never given up'],
  ['Restart', 'always', 'never given up'],
  ['CapabilityBoundingSet', '', 'no capability'],
  ['AmbientCapabilities', '', 'no capability'],
  ['NoNewPrivileges', 'yes', 'none to be had'],
  ['DynamicUser', 'yes', 'own user'],
  ['StateDirectory', 'axlepost-office', 'the one place to write'],
  ['WorkingDirectory', '/var/lib/axlepost-office', 'paths of the office file'],
  ['RuntimeDirectory', 'axlepost-office', "the board's socket"],
  ['ProtectSystem', 'strict', 'read-only system'],
  ['ProtectHome', 'yes', 'read-only system'],
  ['PrivateTmp', 'yes', 'private tmp'],
  ['PrivateDevices', 'yes', 'no devices'],
  ['ProtectKernelTunables', 'yes', 'kernel'],
  ['ProtectKernelModules', 'yes', 'kernel'],
  ['ProtectKernelLogs', 'yes', 'kernel'],
  ['ProtectControlGroups', 'yes', 'kernel'],
  ['RestrictNamespaces', 'yes', 'kernel'],
  ['LockPersonality', 'yes', 'kernel'],
  ['SystemCallFilter', '@system-service', 'system calls'],
  ['MemoryDenyWriteExecute', 'no', 'V8 compiles'],
  ['RestrictAddressFamilies', 'AF_INET AF_INET6 AF_UNIX AF_NETLINK', 'no bus in the office'],
  ['WantedBy', 'multi-user.target', 'starts with the computer'],
];

describe("the office's service", () => {
  it.each(REQUIRED)('%s=%s (%s)', (directive, expected) => {
    expect(value(directive)).toBe(expected);
  });

  it('says each thing once', () => {
    expect([...unit].filter(([, all]) => all.length > 1).map(([name]) => name)).toEqual([]);
  });

  it('keeps the heap below the memory limit', () => {
    const heap = Number(/--max-old-space-size=(\d+)/.exec(value('ExecStart'))![1]);
    const limit = 1024 * Number(/^(\d+)G$/.exec(value('MemoryMax'))![1]);
    expect(heap).toBeLessThan(0.7 * limit);
  });

  it('starts the command, and not again what a person must mend', () => {
    expect(value('ExecStart')).toMatch(/ \S+\/dist\/axlepost\.js office --config \S+$/);
    expect(value('RestartPreventExitStatus')).toBe(String(EXIT.usage));
  });

  it('gives the secrets of the example their places', () => {
    const example = readFileSync('config/examples/northline/office.yaml', 'utf8');
    const named = [...example.matchAll(/\/run\/credentials\/axlepost-office\.service\/([\w-]+)/g)].map(
      ([, name]) => name,
    );
    const given = [...text.matchAll(/^#LoadCredential=([\w-]+):/gm)].map(([, name]) => name);
    expect(named.length).toBeGreaterThan(2);
    expect(named.filter((name) => !given.includes(name))).toEqual([]);
  });
});

/* systemd's own reader of the file. */
const missing = spawnSync('systemd-analyze', ['--version']).status !== 0;
const required = process.env.CI === 'true';
if (missing && !required) console.warn('skipped: systemd-analyze is not installed; CI needs it');

describe.skipIf(missing && !required)(
  `systemd-analyze${missing ? ' (skipped: not installed; CI needs it)' : ''}`,
  () => {
    const folder = mkdtempSync(join(tmpdir(), 'office-unit-'));
    afterAll(() => rmSync(folder, { recursive: true, force: true }));
    const analyze = (unitText: string, ...words: string[]) => {
      const path = join(folder, basename(FILE));
      // Whether the program is installed on this machine is another question.
      writeFileSync(path, unitText.replace('/usr/bin/node ', `${process.execPath} `));
      return spawnSync('systemd-analyze', [...words, path], { encoding: 'utf8' });
    };

    it('finds nothing wrong', () => {
      const { status, stderr } = analyze(text, 'verify');
      expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
    });

    it('would find what is wrong', () => {
      expect(analyze(text.replace('ProtectHome=', 'ProtectHouse='), 'verify').stderr).toContain('ProtectHouse');
    });

    it('calls its exposure 2.0 at most, of 10', () => {
      const { status, stdout } = analyze(text, 'security', '--offline=true', '--threshold=20');
      expect(status, stdout).toBe(0);
    });
  },
);
