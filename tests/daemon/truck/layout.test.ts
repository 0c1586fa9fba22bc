import { describe, expect, it } from 'vitest';
import type { AxleConfig, UnitConfig } from '../../../config/resolved.js';
import { buildLayout, placeOf } from '../../../daemon/truck/layout.js';

const axle = (name: string, kind: AxleConfig['kind'], tires: AxleConfig['tires']): AxleConfig => ({
  name,
  kind,
  tires,
  coldPressureKpa: kind === 'steer' ? 827.37 : 689.48,
  chamber: { type: kind === 'steer' ? '20' : '30', ratedStrokeMm: null },
});
const fiveAxle: UnitConfig[] = [
  {
    unit: 'tractor',
    id: null,
    axles: [axle('steer', 'steer', 'single'), axle('drive 1', 'drive', 'dual'), axle('drive 2', 'drive', 'dual')],
  },
  { unit: 'trailer', id: null, axles: [axle('trailer 1', 'trailer', 'dual'), axle('trailer 2', 'trailer', 'dual')] },
];
const buses = [
  { name: 'main', interface: 'can0', acknowledge: false },
  { name: 'trailer', interface: 'can1', acknowledge: false },
];
const build = (
  units = fiveAxle,
  tirePositions: { bus: string; source: number; tires: Record<number, string> }[] = [],
) => buildLayout({ units, buses, tirePositions });

describe('layout of a five-axle combination', () => {
  const layout = build();

  it('has 18 tires, 10 brakes (regulations.md B-22) and 8 pairs', () => {
    expect([layout.tires.length, layout.wheelEnds.length, layout.pairs.length]).toEqual([18, 10, 8]);
  });

  it('lists tires front to rear, left to right', () => {
    expect(layout.tires.slice(0, 7).map((t) => t.subject)).toEqual([
      'tractor/1/left/single',
      'tractor/1/right/single',
      'tractor/2/left/outer',
      'tractor/2/left/inner',
      'tractor/2/right/inner',
      'tractor/2/right/outer',
      'tractor/3/left/outer',
    ]);
    expect(layout.tires.at(-1)?.subject).toBe('trailer/2/right/outer');
  });

  it('ties each pair to its tires and its brake', () => {
    for (const pair of layout.pairs) {
      const end = layout.wheelEnds[pair.wheelEnd]!;
      expect(pair.subject).toBe(`${end.subject}/pair`);
      expect(layout.tires[pair.outer]!.subject).toBe(`${end.subject}/outer`);
      expect(layout.tires[pair.inner]!.subject).toBe(`${end.subject}/inner`);
      expect([...end.tires].sort((a, b) => a - b)).toEqual([pair.outer, pair.inner].sort((a, b) => a - b));
      for (const tire of end.tires) expect(layout.pairs[layout.tires[tire]!.pair]).toBe(pair);
    }
  });

  it('says where a thing is in the words of design.md', () => {
    expect(layout.tires[2]!.place).toBe('tractor axle 2, left outer tire');
    expect(layout.tires[0]!.place).toBe('tractor axle 1, left tire');
    expect(layout.wheelEnds[3]!.place).toBe('tractor axle 2, right brake');
    expect(layout.pairs[7]!.place).toBe('trailer axle 2, right dual pair');
  });

  // SPN 929 as j1939.md 1.1 has it: logs show 0x00, 0x01 in front and 0x10, 0x11 behind; a dual axle is 0x10…0x13.
  it.each([
    [0x00, 'tractor/1/left/single'],
    [0x01, 'tractor/1/right/single'],
    [0x10, 'tractor/2/left/outer'],
    [0x11, 'tractor/2/left/inner'],
    [0x12, 'tractor/2/right/inner'],
    [0x13, 'tractor/2/right/outer'],
    [0x30, 'trailer/1/left/outer'],
    [0x43, 'trailer/2/right/outer'],
  ])('location 0x%s is %s', (location, subject) => {
    expect(layout.tires[layout.tireIndexAt(0, 51, location)]?.subject).toBe(subject);
  });

  it.each([0x02, 0x0f, 0x14, 0x50, 0xf0, 0xff])('has nothing at location %i', (location) => {
    expect(layout.tireIndexAt(0, 51, location)).toBe(-1);
  });

  it('agrees with a plain count over all 256 location bytes', () => {
    const perAxle = [2, 4, 4, 4, 4];
    for (let location = 0; location < 256; location++) {
      const [axleNo, position] = [location >> 4, location & 15];
      const expected =
        axleNo < 5 && position < perAxle[axleNo]! ? perAxle.slice(0, axleNo).reduce((a, b) => a + b, 0) + position : -1;
      expect(layout.tireIndexAt(0, 33, location)).toBe(expected);
    }
  });

  // SPN 3785–3804 (j1939.md 2.1): the number of the SPN less 3785 is the field.
  it.each([
    ['tractor/1/left', 3785],
    ['tractor/1/right', 3786],
    ['tractor/3/right', 3790],
    ['trailer/1/left', 3795],
    ['trailer/2/right', 3798],
  ])('finds the stroke status of %s in SPN %i', (subject, spn) => {
    const index = layout.wheelEnds.findIndex((end) => end.subject === subject);
    expect(layout.wheelEnds[index]!.bsaField).toBe(spn - 3785);
    expect(layout.wheelEndOfBsa[spn - 3785]).toBe(index);
  });

  it('leaves BSA fields of axles that are not there empty', () => {
    expect([...layout.wheelEndOfBsa].filter((index) => index >= 0)).toHaveLength(10);
    expect(layout.wheelEndOfBsa[6]).toBe(-1);
    expect(layout.wheelEndOfBsa[19]).toBe(-1);
  });

  it('compares like with like', () => {
    expect(layout.tires.slice(0, 4).map((t) => t.peers)).toEqual(['steer', 'steer', 'outer', 'inner']);
    const [tag] = build([{ unit: 'tractor', id: null, axles: [axle('tag', 'tag', 'single')] }]).tires;
    expect(tag?.peers).toBe('single');
  });
});

describe('long and odd combinations', () => {
  it('gives a second trailer and a dolly no BSA field, but locations that count on', () => {
    const units: UnitConfig[] = [
      { unit: 'tractor', id: null, axles: [axle('a', 'steer', 'single'), axle('b', 'drive', 'dual')] },
      { unit: 'trailer', id: null, axles: [axle('c', 'trailer', 'dual')] },
      { unit: 'dolly', id: null, axles: [axle('d', 'trailer', 'dual')] },
      { unit: 'trailer-2', id: null, axles: [axle('e', 'trailer', 'dual')] },
    ];
    const layout = build(units);
    expect(layout.wheelEnds.map((end) => end.bsaField)).toEqual([0, 1, 2, 3, 10, 11, -1, -1, -1, -1]);
    expect(layout.tires[layout.tireIndexAt(0, 51, 0x30)]?.place).toBe('dolly axle 1, left outer tire');
    expect(layout.tires[layout.tireIndexAt(0, 51, 0x40)]?.place).toBe('trailer-2 axle 1, left outer tire');
  });

  it('has no BSA field for a sixth axle and no location for a sixteenth', () => {
    const axles = Array.from({ length: 17 }, (_, n) => axle(`a${n}`, 'drive', 'single'));
    const layout = build([{ unit: 'tractor', id: null, axles }]);
    expect(layout.wheelEnds[9]!.bsaField).toBe(9);
    expect(layout.wheelEnds[10]!.bsaField).toBe(-1);
    expect(layout.tireIndexAt(0, 51, 0xe1)).toBe(29);
    expect(layout.tires[30]!.location).toBe(-1);
    expect(layout.tireIndexAt(0, 51, 0xf0)).toBe(-1);
  });
});

describe('senders that number differently', () => {
  const trailerSender = {
    bus: 'trailer',
    source: 52,
    tires: { 0: 'trailer/1/left/outer', 16: 'trailer/2/left/outer' },
  };

  it('apply to their own bus and source address only', () => {
    const layout = build(fiveAxle, [trailerSender]);
    const at = (bus: number, source: number, location: number) =>
      layout.tires[layout.tireIndexAt(bus, source, location)]?.subject;
    expect(at(1, 52, 0x00)).toBe('trailer/1/left/outer');
    expect(at(1, 52, 0x10)).toBe('trailer/2/left/outer');
    expect(at(0, 52, 0x00)).toBe('tractor/1/left/single');
    expect(at(1, 51, 0x00)).toBe('tractor/1/left/single');
  });

  it('never have two locations for one tire unless both are written', () => {
    const layout = build(fiveAxle, [trailerSender]);
    expect(layout.tireIndexAt(1, 52, 0x30)).toBe(-1);
    expect(layout.tireIndexAt(0, 52, 0x30)).toBe(10);
  });

  it('keep the default for what they do not name', () => {
    const layout = build(fiveAxle, [
      { bus: 'main', source: 51, tires: { 16: 'tractor/2/left/inner', 17: 'tractor/2/left/outer' } },
    ]);
    expect(layout.tires[layout.tireIndexAt(0, 51, 0x10)]?.subject).toBe('tractor/2/left/inner');
    expect(layout.tires[layout.tireIndexAt(0, 51, 0x11)]?.subject).toBe('tractor/2/left/outer');
    expect(layout.tires[layout.tireIndexAt(0, 51, 0x12)]?.subject).toBe('tractor/2/right/inner');
  });
});

describe('places in words', () => {
  it.each([
    ['air/service', 'service air'],
    ['fault/main/11/1067/3', 'bus main, source address 11, SPN 1067, FMI 3'],
    ['lamp/main', 'red stop lamp, bus main'],
    ['source/main/51', 'source address 51, bus main'],
    ['bus/main', 'bus main'],
    ['layout', 'tire layout'],
    ['trailer', 'trailer'],
    ['trailer/1/left/pair', 'trailer axle 1, left dual pair'],
    ['tractor/2/left', 'tractor axle 2, left brake'],
    ['no such thing', 'no such thing'],
    ['tractor/2/left/top', 'tractor/2/left/top'],
  ])('%s is "%s"', (subject, words) => {
    expect(placeOf(subject)).toBe(words);
  });
});
