import { describe, expect, it } from 'vitest';
import { reader } from '../../../daemon/j1939/decode.js';
import { makeId } from '../../../daemon/j1939/identifier.js';
import { POSITION_SPNS, PositionFilter } from '../../../daemon/j1939/position.js';
import { GROUPS } from '../../../daemon/j1939/signals.js';
import { Pipeline } from '../../../daemon/pipeline.js';
import { encodeGroup } from '../../../simulator/encode.js';
import fc from '../../support/property.js';
import { printedSeed } from '../../support/seed.js';
import { truckOf } from '../../support/truck-file.js';

const VP1 = makeId({ priority: 6, pgn: 65267, source: 47 });
const [latitude, longitude] = [reader(584), reader(585)];
const read = (data: Uint8Array): number[] => [latitude.read(data, 8), longitude.read(data, 8)];
const raw = (lat: number, lon: number): Uint8Array => {
  const data = new Uint8Array(8);
  new DataView(data.buffer).setUint32(0, lat, true);
  new DataView(data.buffer).setUint32(4, lon, true);
  return data;
};
const seed = printedSeed('position');

describe('the position that is kept', () => {
  it('every signal of ours that tells it is filtered', () => {
    const named = GROUPS.flatMap(({ signals }) => signals.filter(({ name }) => /latitude|longitude/i.test(name)));
    expect(named.map(({ spn }) => spn)).toEqual(POSITION_SPNS);
    expect(named.every(({ startBit, bits }) => startBit % 8 === 0 && bits === 32)).toBe(true);
  });

  it('exact: the same bytes', () => {
    const data = encodeGroup(65267, { 584: 47.1234567, 585: -98.7654321 });
    expect(new PositionFilter('exact').frame(VP1, data, 8)).toBe(data);
  });

  it('none: not available, which is all ones (J1939-71)', () => {
    const data = encodeGroup(65267, { 584: 47.1234567, 585: -98.7654321 });
    expect([...new PositionFilter('none').frame(VP1, data, 8)]).toEqual(new Array(8).fill(0xff));
  });

  it('rounded: hundredths of a degree, the same as events round, and twice is once', () => {
    const filter = new PositionFilter('rounded');
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 0xfaffffff }), fc.integer({ min: 0, max: 0xfaffffff }), (lat, lon) => {
        const data = raw(lat, lon);
        const shown = (bytes: Uint8Array): number[] => read(bytes).map((x) => Math.round(x * 100) / 100);
        const kept = Uint8Array.from(filter.frame(VP1, data, 8));
        expect(shown(kept)).toEqual(shown(data));
        expect([...filter.frame(VP1, kept, 8)]).toEqual([...kept]);
        // The largest value alone has no hundredth above it.
        if (lat < 0xfaffffff - 1e5) expect(Math.abs(read(kept)[0]! * 100 - shown(data)[0]! * 100)).toBeLessThan(1e-6);
      }),
      { seed },
    );
  });

  it('rounded: a sender that says error or not available goes on saying so', () => {
    const filter = new PositionFilter('rounded');
    const data = raw(0xfe000000, 0xffffffff);
    expect([...filter.frame(VP1, data, 8)]).toEqual([...data]);
  });

  it('other groups pass untouched', () => {
    const data = Uint8Array.of(1, 2, 3);
    const id = makeId({ priority: 6, pgn: 65256, source: 47 });
    expect(new PositionFilter('none').frame(id, data, 3)).toBe(data);
  });

  it('the state of the pipeline loses it too, and nothing else', () => {
    const pipeline = new Pipeline(truckOf());
    pipeline.frame(500, 0, VP1, encodeGroup(65267, { 584: 47.1234567, 585: -98.7654321 }), 8);
    const json = JSON.stringify(pipeline.snapshot(600));
    expect(json).toContain('47.1234567');
    const tree = (text: string) => JSON.parse(text) as { context: Record<string, object> };
    for (const [shown, kept] of [
      ['rounded', { value: 47.12, at: 100 }],
      ['none', { value: 0, at: null }],
    ] as const) {
      const filtered = new PositionFilter(shown).state(json);
      expect(filtered).not.toContain('47.1234');
      expect(filtered).not.toContain('98.7654');
      const { latitude: lat, longitude: _, ...rest } = tree(filtered).context;
      expect(lat).toMatchObject(kept);
      const { latitude: __, longitude: ___, ...before } = tree(json).context;
      expect({ ...tree(filtered), context: rest }).toEqual({ ...tree(json), context: before });
    }
    expect(new PositionFilter('exact').state(json)).toBe(json);
  });
});
