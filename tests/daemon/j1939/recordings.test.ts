import { describe, expect, it } from 'vitest';
import { decodeGroup, reader } from '../../../daemon/j1939/decode.js';
import { decodeDm1 } from '../../../daemon/j1939/dm1.js';
import { destinationOf, isJ1939, pgnOf, sourceOf } from '../../../daemon/j1939/identifier.js';
import { GROUPS, type Signal } from '../../../daemon/j1939/signals.js';
import { newTransportState, Transport } from '../../../daemon/j1939/transport.js';
import { LOGS, readLog, type StampedFrame, shared } from './helpers.js';
import { findTransfers } from './naive-transport.js';

/**
 * What data/README.md says of two recordings (394 broadcasts of which 391 complete; transfers between two units), and
 * for the others what the second implementation found on the day this was written.
 */
const EXPECTED: Record<(typeof LOGS)[number], { announced: number; bam: number; rts: number }> = {
  'road-truck/normal': { announced: 44, bam: 44, rts: 0 },
  'road-truck/tsc1': { announced: 45, bam: 45, rts: 0 },
  'road-truck/address_claim': { announced: 36, bam: 36, rts: 0 },
  'road-truck/dos_full': { announced: 43, bam: 43, rts: 0 },
  'road-truck/fuzz_1ms_ID_and_Data': { announced: 43, bam: 43, rts: 0 },
  'road-truck/request_overload_engine': { announced: 40, bam: 36, rts: 0 },
  'road-truck/bench_error_frames': { announced: 25, bam: 25, rts: 0 },
  'tractor/noStartInGear1': { announced: 4, bam: 3, rts: 1 },
  'tractor/start1': { announced: 8, bam: 6, rts: 2 },
  'tractor/transmission1and2and3InGear': { announced: 6, bam: 4, rts: 2 },
  // 27 more are broadcasts sent to one address, which the standard does not know: refused.
  'brake-bench/normal': { announced: 178, bam: 148, rts: 0 },
  'engine-bench/sample': { announced: 432, bam: 391, rts: 0 },
  'adapter-log/out_of_order': { announced: 1, bam: 1, rts: 0 },
};

function transfersOf(frames: readonly StampedFrame[]) {
  const messages: string[] = [];
  const transport = new Transport(
    () => true,
    (_t, pgn, sa, da, data, length) =>
      messages.push(`${sa} ${da} ${pgn} ${Buffer.from(data.subarray(0, length)).toString('hex')}`),
    newTransportState(),
  );
  for (const { t, id, data } of frames) transport.frame(t, id, data, data.length);
  return { messages, counters: transport.state.counters };
}

/** Upper end of the valid band: raw FA, FAFF, FAFFFFFF; a code of fewer bits ends two below its last. */
function highestOf({ bits, scale, offset }: Signal): number {
  const raw = bits >= 8 ? 0xfb * 2 ** (bits - 8) - 1 : 2 ** bits - 3;
  return offset + scale * raw + 1e-9;
}

for (const log of LOGS) {
  const file = shared(`data/${log}.log`);
  describe.skipIf(file.absent)(`${log}.log${file.why}`, () => {
    it('gives the transfers that a second implementation finds, byte for byte', () => {
      const frames = readLog(file.path);
      const naive = findTransfers(frames);
      const { messages, counters } = transfersOf(frames);
      const { announced, bam, rts } = EXPECTED[log];
      expect(naive.announced).toBe(announced);
      expect(naive.complete.filter((transfer) => transfer.kind === 'bam')).toHaveLength(bam);
      expect(naive.complete.filter((transfer) => transfer.kind === 'rts')).toHaveLength(rts);
      expect(messages.toSorted()).toEqual(naive.complete.map((c) => `${c.sa} ${c.da} ${c.pgn} ${c.hex}`).toSorted());
      expect(counters.complete).toBe(bam + rts);
    });

    it('decodes every frame without an exception and gives no number outside the range of its signal', () => {
      const limits = new Map(GROUPS.flatMap((g) => g.signals.map((s) => [s.spn, s] as const)));
      let decoded = 0;
      for (const { id, data } of readLog(file.path)) {
        if (!isJ1939(id)) continue;
        if (pgnOf(id) === 65226) decodeDm1(data, data.length);
        for (const field of decodeGroup(pgnOf(id), data, data.length)) {
          decoded++;
          const signal = limits.get(field.spn)!;
          const wrong =
            field.quality !== 'good'
              ? !Number.isNaN(field.value)
              : signal.kind === 'number' && !(field.value >= signal.offset && field.value <= highestOf(signal));
          if (wrong) expect.fail(`SPN ${field.spn} = ${field.value} from ${id.toString(16)}`);
        }
      }
      expect(decoded).toBeGreaterThan(0);
    });
  });
}

const engine = shared('data/engine-bench/sample.log');
describe.skipIf(engine.absent)(`engine-bench/sample.log${engine.why}`, () => {
  it('has 394 broadcasts announced of which 391 complete (data/README.md)', () => {
    const frames = readLog(engine.path);
    const broadcasts = frames.filter(
      ({ id, data }) => pgnOf(id) === 0xec00 && destinationOf(id) === 255 && data[0] === 0x20,
    );
    expect(broadcasts).toHaveLength(394);
    const { messages } = transfersOf(frames);
    expect(messages.filter((message) => message.split(' ')[1] === '255')).toHaveLength(391);
  });
});

const road = shared('data/road-truck/normal.log');
describe.skipIf(road.absent)(`road-truck/normal.log${road.why}`, () => {
  it('AIR1 and B1 of source 0x31 agree within one step on every pair (data/README.md)', () => {
    const [primary, secondary, circuit1, circuit2] = [117, 118, 1087, 1088].map((spn) => reader(spn));
    let b1: [number, number] | null = null;
    let pairs = 0;
    for (const { id, data } of readLog(road.path)) {
      if (sourceOf(id) !== 0x31) continue;
      if (pgnOf(id) === 65274) b1 = [primary!.read(data, data.length), secondary!.read(data, data.length)];
      if (pgnOf(id) !== 65198 || !b1) continue;
      const air1 = [circuit1!.read(data, data.length), circuit2!.read(data, data.length)];
      pairs++;
      expect(Math.abs(air1[0]! - b1[0])).toBeLessThanOrEqual(8);
      expect(Math.abs(air1[1]! - b1[1])).toBeLessThanOrEqual(8);
    }
    expect(pairs).toBeGreaterThan(20);
  });
});
