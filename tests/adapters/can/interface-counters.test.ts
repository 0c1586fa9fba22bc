import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { readCounters } from '../../../adapters/can/interface-counters.js';

const sys = mkdtempSync(join(tmpdir(), 'axlepost-sys-'));
afterAll(() => rmSync(sys, { recursive: true }));

function interfaceOf(name: string, files: Record<string, string>): void {
  const folder = join(sys, 'class/net', name, 'statistics');
  mkdirSync(folder, { recursive: true });
  for (const [file, text] of Object.entries(files)) writeFileSync(join(folder, file), text);
}
/** The kernel ends each with a line feed. */
const ALL = {
  ...{ rx_packets: '184467\n', rx_errors: '7\n', rx_dropped: '3\n', rx_over_errors: '2\n', rx_fifo_errors: '1\n' },
  tx_packets: '99\n',
};

describe('readCounters', () => {
  it('reads what the kernel counted on this interface', async () => {
    interfaceOf('can0', ALL);
    interfaceOf('can1', { ...ALL, rx_packets: '5\n' });
    const rest = { rxErrors: 7, rxDropped: 3, rxOverErrors: 2, rxFifoErrors: 1 };
    expect(await readCounters('can0', sys)).toEqual({ rxPackets: 184467, ...rest });
    expect(await readCounters('can1', sys)).toEqual({ rxPackets: 5, ...rest });
  });

  it('is null without interface, without sysfs, and for what is no number', async () => {
    interfaceOf('can2', { ...ALL, rx_errors: 'many\n' });
    expect(await readCounters('can2', sys)).toBeNull();
    expect(await readCounters('can7', sys)).toBeNull();
    expect(await readCounters('can0', join(sys, 'none'))).toBeNull();
  });
});
