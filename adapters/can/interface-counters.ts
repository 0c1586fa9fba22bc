import { readFile } from 'node:fs/promises';
import { join } from 'node:path';

/**
 * What the kernel has counted on an interface since it was made, for all who listen. Drivers count what their controller
 * tells: `rxOverErrors` and `rxFifoErrors` are frames that the controller lost for want of a buffer, `rxDropped` those
 * that the kernel dropped before any socket. What one socket then loses is in none of them: see socket-loss.ts.
 * Source: Documentation/ABI/testing/sysfs-class-net-statistics.
 */
export interface InterfaceCounters {
  rxPackets: number;
  rxErrors: number;
  rxDropped: number;
  rxOverErrors: number;
  rxFifoErrors: number;
}

/** The counters of an interface, or null where there is none of that name, or no sysfs. Never rejects. */
export async function readCounters(name: string, sys = '/sys'): Promise<InterfaceCounters | null> {
  const read = async (file: string): Promise<number> => {
    const value = Number(await readFile(join(sys, 'class/net', name, 'statistics', file), 'utf8'));
    if (!Number.isSafeInteger(value)) throw new RangeError(file);
    return value;
  };
  try {
    return {
      rxPackets: await read('rx_packets'),
      rxErrors: await read('rx_errors'),
      rxDropped: await read('rx_dropped'),
      rxOverErrors: await read('rx_over_errors'),
      rxFifoErrors: await read('rx_fifo_errors'),
    };
  } catch {
    return null;
  }
}
