import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { HostSync, TRUSTED } from '../../../adapters/clock/sync-source.js';
import { HandTimers } from '../../support/timers.js';

const folder = mkdtempSync(join(tmpdir(), 'sync-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

let made = 0;
/** A program in the place of timedatectl. */
function program(script: string): string {
  const path = join(folder, `timedatectl-${++made}`);
  writeFileSync(path, `#!/bin/sh\n${script}\n`);
  chmodSync(path, 0o755);
  return path;
}
const absent = (): string => join(folder, `absent-${++made}`);

async function asked(options: { file?: string; program?: string }): Promise<{ synced: boolean; by: string }> {
  const sync = new HostSync({ file: absent(), program: absent(), timers: new HandTimers(), ...options });
  await sync.start();
  sync.close();
  return { synced: sync.synced, by: sync.by };
}

describe('whether the clock is right', () => {
  it('is taken from the file that timesyncd makes, and nothing is started', async () => {
    const file = join(folder, 'synchronized');
    writeFileSync(file, '');
    expect(await asked({ file, program: program('exit 1') })).toEqual({ synced: true, by: 'timesyncd' });
  });

  it.each([
    ['yes', 'echo yes', true],
    ['no', 'echo no', false],
    ['nothing', 'true', false],
    ['something else', 'echo Unknown property', false],
    ['yes, and fails', 'echo yes; exit 1', false],
  ])('is asked of timedatectl, which says %s', async (_said, script, synced) => {
    expect((await asked({ program: program(script) })).synced).toBe(synced);
  });

  it('is asked with the words that systemd documents', async () => {
    const exact = program('[ "$*" = "show --property=NTPSynchronized --value" ] && echo yes');
    expect((await asked({ program: exact })).synced).toBe(true);
  });

  it('is asked of a program that cannot speak to our service manager in our name', async () => {
    process.env.NOTIFY_SOCKET = '/run/systemd/notify';
    try {
      const silent = program('[ -z "$NOTIFY_SOCKET" ] && [ -n "$PATH" ] && echo yes');
      expect((await asked({ program: silent })).synced).toBe(true);
    } finally {
      delete process.env.NOTIFY_SOCKET;
    }
  });

  it('is unknown, and so not synced, where the program is missing', async () => {
    const { synced, by } = await asked({});
    expect(synced).toBe(false);
    expect(by).toMatch(/: no answer$/);
  });

  it('is what the owner says, if the owner says so', () => {
    expect(TRUSTED.synced).toBe(true);
  });
});

describe('asking', () => {
  it('goes on each 30 s until the clock is right, then each 10 min, and sees it lost', async () => {
    const timers = new HandTimers();
    const file = absent();
    const sync = new HostSync({ file, program: absent(), timers });
    await sync.start();
    expect(timers.waiting).toEqual([30_000]);
    writeFileSync(file, '');
    timers.fire();
    await timers.armed();
    expect({ synced: sync.synced, waiting: timers.waiting }).toEqual({ synced: true, waiting: [600_000] });
    rmSync(file);
    timers.fire();
    await timers.armed();
    expect({ synced: sync.synced, waiting: timers.waiting }).toEqual({ synced: false, waiting: [30_000] });
    sync.close();
    expect(timers.waiting).toEqual([]);
  });

  it('does not keep a start waiting for a program that hangs', async () => {
    const timers = new HandTimers();
    const sync = new HostSync({ file: absent(), program: program('exec sleep 3'), timers });
    const started = sync.start();
    expect(timers.waiting).toEqual([500]);
    timers.fire();
    await started;
    expect(sync.synced).toBe(false);
    sync.close();
  });
});
