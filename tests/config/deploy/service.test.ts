import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { EXIT } from '../../../daemon/commands/failure.js';
import { TICK_LATE_MS } from '../../../daemon/commands/health.js';

const FILE = 'config/deploy/axlepost.service';
const text = readFileSync(FILE, 'utf8');

/** By `Section.Directive`, in order; as systemd.syntax(7) has it, without line continuations, of which there are none. */
function directives(unit: string): Map<string, string[]> {
  const found = new Map<string, string[]>();
  let section = '';
  for (const line of unit.split('\n')) {
    if (line === '' || line.startsWith('#')) continue;
    const header = /^\[(\w+)\]$/.exec(line);
    if (header !== null) {
      section = header[1]!;
      continue;
    }
    const [, name, value] = /^(\w+)=(.*[^\\]|)$/.exec(line)!;
    const key = `${section}.${name}`;
    found.set(key, [...(found.get(key) ?? []), value!]);
  }
  return found;
}

const unit = directives(text);
const value = (name: string): string => {
  const all = unit.get(name);
  expect(all, name).toHaveLength(1);
  return all![0]!;
};

/** What each promise hangs on. */
const REQUIRED: [directive: string, value: string, why: string][] = [
  ['Unit.StartLimitIntervalSec', '0', 'never given up'],
  ['Service.Type', 'notify', 'ready is said, not guessed'],
  ['Service.NotifyAccess', 'main', 'nobody else says it'],
  ['Service.Restart', 'always', 'unattended'],
  ['Service.KillMode', 'mixed', 'the program ends its children'],
  ['Service.CapabilityBoundingSet', '', 'no capability'],
  ['Service.AmbientCapabilities', '', 'no capability'],
  ['Service.NoNewPrivileges', 'yes', 'none to be had'],
  ['Service.ProtectSystem', 'strict', 'read-only system'],
  ['Service.ProtectHome', 'yes', 'read-only system'],
  ['Service.PrivateTmp', 'yes', 'private tmp'],
  ['Service.PrivateDevices', 'yes', 'no devices'],
  ['Service.DynamicUser', 'yes', 'own user'],
  ['Service.User', 'axlepost', 'own user'],
  ['Service.StateDirectory', 'axlepost', 'the one place to write'],
  ['Service.WorkingDirectory', '/var/lib/axlepost', 'paths of the truck file'],
  ['Service.ProtectKernelTunables', 'yes', 'kernel'],
  ['Service.ProtectKernelModules', 'yes', 'kernel'],
  ['Service.ProtectKernelLogs', 'yes', 'kernel'],
  ['Service.ProtectControlGroups', 'yes', 'kernel'],
  ['Service.RestrictNamespaces', 'yes', 'kernel'],
  ['Service.LockPersonality', 'yes', 'kernel'],
  ['Service.SystemCallFilter', '@system-service', 'system calls'],
  ['Service.MemorySwapMax', '0', 'flash'],
  ['Service.LimitCORE', '0', 'flash'],
  ['Install.WantedBy', 'multi-user.target', 'starts with the computer'],
];

describe('the service', () => {
  it.each(REQUIRED)('%s=%s (%s)', (directive, expected) => {
    expect(value(directive)).toBe(expected);
  });

  it('opens the sockets that the program needs, and no others', () => {
    expect(value('Service.RestrictAddressFamilies').split(' ').sort()).toEqual(
      ['AF_CAN', 'AF_INET', 'AF_INET6', 'AF_NETLINK', 'AF_UNIX'].sort(),
    );
  });

  it('lets V8 compile', () => {
    expect(value('Service.MemoryDenyWriteExecute')).toBe('no');
  });

  it('keeps the heap below the memory limit', () => {
    const heap = Number(/--max-old-space-size=(\d+)/.exec(value('Service.ExecStart'))![1]);
    const limit = Number(/^(\d+)M$/.exec(value('Service.MemoryMax'))![1]);
    expect(heap).toBeGreaterThan(110);
    expect(heap).toBeLessThan(0.7 * limit);
  });

  it('starts the program as its own command line has it, and reloads with the signal that it takes', () => {
    expect(value('Service.ExecStart')).toMatch(/ \S+\/dist\/axlepost\.js run --config \S+$/);
    expect(value('Service.ExecReload')).toBe('/bin/kill -HUP $MAINPID');
  });

  it('gives a watchdog with room for a pipeline that is late once, and 2 s for the end', () => {
    expect(1000 * Number(value('Service.WatchdogSec'))).toBeGreaterThanOrEqual(4 * TICK_LATE_MS);
    expect(Number(value('Service.TimeoutStopSec'))).toBeGreaterThan(2);
  });

  it('does not start again what a person must mend, and everything else', () => {
    expect(value('Service.RestartPreventExitStatus')).toBe(String(EXIT.usage));
  });

  it('says each thing once', () => {
    expect([...unit].filter(([, all]) => all.length > 1).map(([name]) => name)).toEqual([]);
  });
});

/* systemd's own reader of the file. */
const missing = spawnSync('systemd-analyze', ['--version']).status !== 0;
const required = process.env.CI === 'true';
if (missing && !required) console.warn('skipped: systemd-analyze is not installed; CI needs it');

describe.skipIf(missing && !required)(
  `systemd-analyze${missing ? ' (skipped: not installed; CI needs it)' : ''}`,
  () => {
    const folder = mkdtempSync(join(tmpdir(), 'unit-'));
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

    it('knows that `ip` may still give up its capabilities', () => {
      const { stdout } = spawnSync('systemd-analyze', ['syscall-filter', '@system-service'], { encoding: 'utf8' });
      expect(stdout.split('\n').map((line) => line.trim())).toContain('capset');
    });
  },
);
