import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { interfaceMode, modeOf } from '../../../adapters/can/interface-mode.js';

/**
 * What `ip -details -json link show dev can0` of iproute2 6.1 prints, as far as it is read here. Written by hand after its
 * source (ip/ipaddress.c, ip/iplink_can.c: the names of ctrlmode flags, `info_kind`, `link_type`).
 */
function link(more: Record<string, unknown>, flags = ['NOARP', 'UP', 'LOWER_UP', 'ECHO']): string {
  return JSON.stringify([
    { ifindex: 3, ifname: 'can0', flags, mtu: 16, qdisc: 'pfifo_fast', operstate: 'UP', link_type: 'can', ...more },
  ]);
}
const controller = (ctrlmode?: string[]) => ({
  linkinfo: {
    info_kind: 'can',
    info_data: {
      ...(ctrlmode === undefined ? {} : { ctrlmode }),
      state: 'ERROR-ACTIVE',
      restart_ms: 0,
      bittiming: { bitrate: 250000, sample_point: '0.875' },
      clock: 8000000,
    },
  },
});

describe('the control mode of an interface', () => {
  it.each([
    ['listen-only', link(controller(['LISTEN-ONLY'])), 'listen-only', true],
    [
      'listen-only among other modes',
      link(controller(['LOOPBACK', 'LISTEN-ONLY', 'BERR-REPORTING'])),
      'listen-only',
      true,
    ],
    ['other modes', link(controller(['BERR-REPORTING'])), 'acknowledging', true],
    ['no modes', link(controller()), 'acknowledging', true],
    ['listen-only, not up', link(controller(['LISTEN-ONLY']), ['NOARP', 'ECHO']), 'listen-only', false],
    ['acknowledging, not up', link(controller(), ['NOARP', 'ECHO']), 'acknowledging', false],
    ['vcan', link({ linkinfo: { info_kind: 'vcan' } }), 'virtual', true],
    ['vxcan', link({ linkinfo: { info_kind: 'vxcan' } }), 'virtual', true],
    ['a serial-line adapter that tells no mode', link({}), 'acknowledging', true],
    ['a kind that nobody knows', link({ linkinfo: { info_kind: 'newcan' } }), 'acknowledging', true],
    ['Ethernet', link({ link_type: 'ether' }), 'foreign', true],
    ['loopback', link({ link_type: 'loopback' }), 'foreign', true],
    ['nothing', '[]', 'absent', false],
    ['only links that were filtered out', '[{},{}]', 'absent', false],
  ])('%s', (_, json, kind, up) => {
    expect(modeOf(json)).toEqual({ kind, up });
  });
});

describe('interfaceMode', () => {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-ip-'));
  afterAll(() => rmSync(folder, { recursive: true }));
  function program(name: string, script: string): string {
    const path = join(folder, name);
    writeFileSync(path, `#!/bin/sh\n${script}\n`);
    chmodSync(path, 0o755);
    return path;
  }

  it('asks for this interface, with details, as JSON', async () => {
    const ip = program(
      'ask',
      `[ "$*" = "-details -json link show dev can0" ] && echo '${link(controller(['LISTEN-ONLY']))}'`,
    );
    expect(await interfaceMode('can0', ip)).toEqual({ kind: 'listen-only', up: true });
  });

  it('an interface that does not exist is absent', async () => {
    const ip = program('absent', 'echo \'Device "can7" does not exist.\' >&2; exit 1');
    expect(await interfaceMode('can7', ip)).toEqual({ kind: 'absent', up: false });
  });

  // Whoever cannot tell the mode must not say that there is nothing to refuse.
  it.each([
    [
      'refuses the options',
      'echo \'Option "-json" is unknown, try "ip -help".\' >&2; exit 255',
      'Option "-json" is unknown',
    ],
    ['prints text', 'echo "3: can0: <NOARP,UP>"', 'JSON'],
    ['fails without a word', 'exit 1', 'Command failed'],
  ])('a program that %s is an error in one line', async (name, script, words) => {
    const told = interfaceMode('can0', program(name.replaceAll(' ', '-'), script));
    await expect(told).rejects.toThrow(
      /^can0: its control mode cannot be read with "ip -details -json link show" \([^\n]*\)$/,
    );
    await expect(told).rejects.toThrow(words);
  });

  it('a machine without the program is told what to install', async () => {
    await expect(interfaceMode('can0', join(folder, 'none'))).rejects.toThrow(
      'the program "ip" is missing; install iproute2',
    );
  });
});
