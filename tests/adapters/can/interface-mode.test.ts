import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { controllerHealth, controllerOf, interfaceMode, modeOf } from '../../../adapters/can/interface-mode.js';

/**
 * What `ip -details -statistics -json link show dev can0` of iproute2 6.1.0 printed on Linux 6.1 of a serial-line
 * controller (driver slcan) with `bitrate 250000 listen-only on`, up, after two frames and a report of error-passive.
 */
const LISTENING = `[{"ifindex":3,"ifname":"can0","flags":["NOARP","UP","LOWER_UP"],"mtu":16,"qdisc":"pfifo_fast","operstate":"UP","linkmode":"DEFAULT","group":"default","txqlen":10,"link_type":"can","promiscuity":0,"allmulti":0,"min_mtu":0,"max_mtu":0,"linkinfo":{"info_kind":"can","info_data":{"ctrlmode":["LISTEN-ONLY"],"ctrlmode_supported":["LISTEN-ONLY"],"state":"ERROR-PASSIVE","restart_ms":0,"bittiming_bitrate":250000,"bitrate_const":[10000,20000,50000,100000,125000,250000,500000,800000,1000000],"clock":0},"info_xstats":{"restarts":0,"bus_error":0,"arbitration_lost":0,"error_warning":0,"error_passive":1,"bus_off":0}},"num_tx_queues":1,"gso_max_size":65536,"gso_max_segs":65535,"tso_max_size":65536,"tso_max_segs":65535,"gro_max_size":65536,"stats64":{"rx":{"bytes":16,"packets":2,"errors":0,"dropped":0,"over_errors":0,"multicast":0},"tx":{"bytes":0,"packets":0,"errors":1,"dropped":0,"carrier_errors":0,"collisions":0}}}]`;

/** The same controller after a report of bus-off: the interface is still said to be up. */
const BUS_OFF = `[{"ifindex":3,"ifname":"can0","flags":["NO-CARRIER","NOARP","UP"],"mtu":16,"qdisc":"pfifo_fast","operstate":"DOWN","linkmode":"DEFAULT","group":"default","txqlen":10,"link_type":"can","promiscuity":0,"allmulti":0,"min_mtu":0,"max_mtu":0,"linkinfo":{"info_kind":"can","info_data":{"ctrlmode":["LISTEN-ONLY"],"ctrlmode_supported":["LISTEN-ONLY"],"state":"BUS-OFF","restart_ms":0,"bittiming_bitrate":250000,"bitrate_const":[10000,20000,50000,100000,125000,250000,500000,800000,1000000],"clock":0},"info_xstats":{"restarts":0,"bus_error":0,"arbitration_lost":0,"error_warning":0,"error_passive":1,"bus_off":1}},"num_tx_queues":1,"gso_max_size":65536,"gso_max_segs":65535,"tso_max_size":65536,"tso_max_segs":65535,"gro_max_size":65536,"stats64":{"rx":{"bytes":16,"packets":2,"errors":0,"dropped":0,"over_errors":0,"multicast":0},"tx":{"bytes":0,"packets":0,"errors":1,"dropped":0,"carrier_errors":0,"collisions":0}}}]`;

/** The same controller before its first `ip link set`, and after `listen-only off`, down. */
const UNSET = `[{"ifindex":3,"ifname":"can0","flags":["NOARP"],"mtu":16,"qdisc":"noop","operstate":"DOWN","linkmode":"DEFAULT","group":"default","txqlen":10,"link_type":"can","promiscuity":0,"allmulti":0,"min_mtu":0,"max_mtu":0,"linkinfo":{"info_kind":"can","info_data":{"ctrlmode_supported":["LISTEN-ONLY"],"state":"STOPPED","restart_ms":0,"bittiming_bitrate":0,"bitrate_const":[10000,20000,50000,100000,125000,250000,500000,800000,1000000],"clock":0},"info_xstats":{"restarts":0,"bus_error":0,"arbitration_lost":0,"error_warning":0,"error_passive":0,"bus_off":0}},"num_tx_queues":1,"gso_max_size":65536,"gso_max_segs":65535,"tso_max_size":65536,"tso_max_segs":65535,"gro_max_size":65536,"stats64":{"rx":{"bytes":0,"packets":0,"errors":0,"dropped":0,"over_errors":0,"multicast":0},"tx":{"bytes":0,"packets":0,"errors":0,"dropped":0,"carrier_errors":0,"collisions":0}}}]`;

/** A virtual interface on the same machine. */
const VCAN = `[{"ifindex":2,"ifname":"vcan0","flags":["NOARP","UP","LOWER_UP"],"mtu":72,"qdisc":"noqueue","operstate":"UNKNOWN","linkmode":"DEFAULT","group":"default","txqlen":1000,"link_type":"can","promiscuity":0,"allmulti":0,"min_mtu":0,"max_mtu":0,"linkinfo":{"info_kind":"vcan"},"num_tx_queues":1,"gso_max_size":65536,"gso_max_segs":65535,"tso_max_size":65536,"tso_max_segs":65535,"gro_max_size":65536,"stats64":{"rx":{"bytes":8,"packets":1,"errors":0,"dropped":0,"over_errors":0,"multicast":0},"tx":{"bytes":8,"packets":1,"errors":0,"dropped":0,"carrier_errors":0,"collisions":0}}}]`;

/**
 * Written by hand after iproute2 6.1's source (ip/ipaddress.c, ip/iplink_can.c: `print_ctrlmode`, `can_print_opt`), for
 * controllers that the machine of the recordings above does not have.
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
      berr_counter: { tx: 0, rx: 3 },
      restart_ms: 0,
      bittiming: { bitrate: 250000, sample_point: '0.875' },
      clock: 8000000,
    },
  },
});

describe('the control mode of an interface, as recorded', () => {
  it.each([
    ['listen-only', LISTENING, 'listen-only', true],
    ['listen-only and bus-off', BUS_OFF, 'listen-only', true],
    ['never set, down', UNSET, 'acknowledging', false],
    ['vcan', VCAN, 'virtual', true],
  ])('%s', (_, json, kind, up) => {
    expect(modeOf(json)).toEqual({ kind, up });
  });
});

describe('what a controller says of itself', () => {
  const nothing = { errorWarning: 0, errorPassive: 0, busOff: 0, busErrors: 0, arbitrationLost: 0, restarts: 0 };

  it('is its state and how often each was entered', () => {
    const counters = { receiveErrors: null, transmitErrors: null };
    expect(controllerOf(UNSET)).toEqual({ state: 'STOPPED', ...nothing, ...counters });
    expect(controllerOf(LISTENING)).toEqual({ state: 'ERROR-PASSIVE', ...nothing, ...counters, errorPassive: 1 });
    expect(controllerOf(BUS_OFF)).toEqual({ state: 'BUS-OFF', ...nothing, ...counters, errorPassive: 1, busOff: 1 });
  });

  it('has error counters where the driver reads them', () => {
    expect(controllerOf(link(controller(['LISTEN-ONLY'])))).toEqual({
      ...nothing,
      ...{ state: 'ERROR-ACTIVE', receiveErrors: 3, transmitErrors: 0 },
    });
  });

  it('is nothing where there is no controller, or no answer', async () => {
    expect(controllerOf(VCAN)).toBeNull();
    expect(controllerOf('[]')).toBeNull();
    expect(await controllerHealth('can0', '/nonexistent/ip')).toBeNull();
  });
});

describe('the control mode of other interfaces', () => {
  it.each([
    ['listen-only', link(controller(['LISTEN-ONLY'])), 'listen-only', true],
    [
      'listen-only among other modes',
      link(controller(['LOOPBACK', 'LISTEN-ONLY', 'BERR-REPORTING'])),
      'listen-only',
      true,
    ],
    ['other modes', link(controller(['BERR-REPORTING'])), 'acknowledging', true],
    ['one-shot: it sends once, and still acknowledges', link(controller(['ONE-SHOT'])), 'acknowledging', true],
    ['CAN FD', link({ ...controller(['FD']), mtu: 72 }), 'acknowledging', true],
    ['CAN FD, listen-only', link({ ...controller(['LISTEN-ONLY', 'FD']), mtu: 72 }), 'listen-only', true],
    ['no modes', link(controller()), 'acknowledging', true],
    ['listen-only, not up', link(controller(['LISTEN-ONLY']), ['NOARP', 'ECHO']), 'listen-only', false],
    ['acknowledging, not up', link(controller(), ['NOARP', 'ECHO']), 'acknowledging', false],
    ['vcan', link({ linkinfo: { info_kind: 'vcan' } }), 'virtual', true],
    ['vxcan', link({ linkinfo: { info_kind: 'vxcan' } }), 'virtual', true],
    ['a serial-line adapter of kernels before 6.0, which tell no mode', link({}), 'acknowledging', true],
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
      `[ "$*" = "-details -statistics -json link show dev can0" ] && echo '${link(controller(['LISTEN-ONLY']))}'`,
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
