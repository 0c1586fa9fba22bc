import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { readTruckFile } from '../../../config/load.js';
import { BASE_PGNS, kernelFilters } from '../../../daemon/j1939/interest.js';
import { Pipeline } from '../../../daemon/pipeline.js';

/** linux/can.h. A filter takes a frame when `received & mask === id & mask`. */
const [EFF, RTR, ERR] = [0x80000000, 0x40000000, 0x20000000];
const CAN_RAW_FILTER_MAX = 512;

/** T-208 has signals in proprietary groups. */
const TRUCKS = ['config/examples/T-1042.yaml', 'config/examples/T-208.yaml', 'config/examples/B-31.yaml'];

function setUp(path: string) {
  const { config } = readTruckFile(readFileSync(path, 'utf8'), path);
  const filters = kernelFilters([...BASE_PGNS, ...config!.signals.map(({ pgn }) => pgn)]);
  return { filters, interest: new Pipeline(config!).interest, signals: config!.signals };
}

describe.each(TRUCKS)('kernel filters of %s', (path) => {
  const { filters, interest } = setUp(path);

  /** How many filters take this frame: the kernel says so for each, and a frame that two take is counted twice there. */
  function takers(canId: number): number {
    let count = 0;
    for (let i = 0; i < filters.length; i++) {
      const { id, mask } = filters[i]!;
      if ((canId & mask) === (id & mask)) count++;
    }
    return count;
  }

  it('take exactly the frames that are of interest, of all groups there can be, each by one filter', () => {
    for (let slot = 0; slot < 2 ** 18; slot++) {
      const wanted = interest[slot]! > 0 ? 1 : 0;
      for (const [priority, source] of [
        [0, 0x00],
        [3, 0x0b],
        [7, 0xff],
      ] as const) {
        const id = EFF | (priority << 26) | (slot << 8) | source;
        if (takers(id) !== wanted) expect.fail(`${(id >>> 0).toString(16)}: ${takers(id)} filters, wanted ${wanted}`);
      }
    }
  });

  it('take no remote frame and no 11-bit frame', () => {
    for (const { id } of filters) expect(takers(id | RTR)).toBe(0);
    for (let id = 0; id < 0x800; id++) expect(takers(id)).toBe(0);
  });

  it('say nothing of error frames, which have a mask of their own', () => {
    for (const { id, mask } of filters) expect([(id & ERR) >>> 0, (mask & ERR) >>> 0]).toEqual([0, 0]);
  });
});

it('a truck file with as many signals as it may have stays within what the kernel takes', () => {
  const proprietary = Array.from({ length: 64 }, (_, n) => 0xff00 + n);
  expect(kernelFilters([...BASE_PGNS, ...proprietary]).length).toBeLessThanOrEqual(CAN_RAW_FILTER_MAX / 2);
});

it('one of the example trucks has signals of its own', () => {
  expect(TRUCKS.some((path) => setUp(path).signals.length > 0)).toBe(true);
});
