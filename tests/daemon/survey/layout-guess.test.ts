import { describe, expect, it } from 'vitest';
import { readTruckFile } from '../../../config/load.js';
import { draftOf } from '../../../daemon/survey/draft.js';
import { listSubjects } from '../../../daemon/truck/subjects.js';
import { type Frame, frameOf } from '../../support/rig.js';
import { madeOf } from './helpers.js';

const TIRE1 = 65268;
const BSA = 64881;
/** The usual address of a tire pressure controller, and of the chassis unit of trailer 1 (J1939 address table). */
const TRACTOR = 51;
const TRAILER = 205;

const tire = (t: number, location: number, { sa = TRACTOR, kpa = 700, bus = 0 } = {}): Frame => ({
  ...frameOf(t, TIRE1, sa, { 929: location, 241: kpa, 242: 20, 6990: 0 }),
  bus,
});

/** Stroke status with these fields fitted; 7 is "not fitted". */
const strokes = (t: number, fitted: readonly number[]): Frame =>
  frameOf(t, BSA, 11, Object.fromEntries(Array.from({ length: 20 }, (_, f) => [3785 + f, fitted.includes(f) ? 0 : 7])));

const STEER = [0x00, 0x01];
const dual = (axle: number): number[] => [0, 1, 2, 3].map((position) => axle * 16 + position);
const tires = (locations: readonly number[], how: Parameters<typeof tire>[2] = {}): Frame[] =>
  locations.map((location, i) => tire(i, location, how));

/** `tractor: single dual dual; trailer: dual`. */
function shapeOf(frames: readonly Frame[]): string {
  const { units } = madeOf(frames).guess;
  return units.map(({ unit, axles }) => `${unit}: ${axles.map((axle) => axle.tires).join(' ')}`).join('; ');
}

/** Which subject each location means, of the guess. */
function subjectsOf(frames: readonly Frame[]): string[] {
  return madeOf(frames).report.tires.map(({ sa, location, subject }) => `${sa} ${location.toString(16)} ${subject}`);
}

describe('a guessed layout', () => {
  it('has single tires where two are told, dual ones where four are', () => {
    expect(shapeOf(tires([...STEER, ...dual(1)]))).toBe('tractor: single dual');
  });

  it('is split where the brakes of the tractor end', () => {
    const five = tires([...STEER, ...dual(1), ...dual(2), ...dual(3), ...dual(4)]);
    // Tractor axles 1 to 3, trailer axles 1 and 2 (SPN 3785 to 3790, 3795 to 3798).
    const split = [...five, strokes(100, [0, 1, 2, 3, 4, 5, 10, 11, 12, 13])];
    expect(shapeOf(split)).toBe('tractor: single dual dual; trailer: dual dual');
    expect(madeOf(split).guess).toMatchObject({ split: 'brakes', tirePositions: [] });
    // A straight truck of five axles.
    const whole = [...five, strokes(100, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9])];
    expect(shapeOf(whole)).toBe('tractor: single dual dual dual dual');
    expect(madeOf(five).guess.split).toBe('count');
  });

  it('has the axles of which only a brake tells', () => {
    expect(shapeOf([...tires(STEER), strokes(9, [0, 1, 2, 3, 10, 11])])).toBe('tractor: single dual; trailer: dual');
    expect(shapeOf([])).toBe('tractor: single');
    expect(madeOf([]).guess.split).toBe('nothing');
  });

  it('takes a hole in the axle numbers for the beginning of the trailer, and names its locations', () => {
    const frames = tires([...STEER, ...dual(1), ...dual(6)]);
    expect(shapeOf(frames)).toBe('tractor: single dual; trailer: dual');
    const { tirePositions, split } = madeOf(frames).guess;
    expect(split).toBe('gap');
    expect(tirePositions).toEqual([
      {
        bus: 'main',
        source: TRACTOR,
        tires: {
          96: 'trailer/1/left/outer',
          97: 'trailer/1/left/inner',
          98: 'trailer/1/right/inner',
          99: 'trailer/1/right/outer',
        },
      },
    ]);
    expect(subjectsOf(frames)).toContain('51 60 trailer/1/left/outer');
  });

  it('keeps an axle whose sensors are all silent, when the brakes say that it is there', () => {
    const frames = [...tires([...STEER, ...dual(2), ...dual(3)]), strokes(99, [0, 1, 2, 3, 4, 5, 10, 11])];
    expect(shapeOf(frames)).toBe('tractor: single dual dual; trailer: dual');
    expect(subjectsOf(frames)).toContain('51 30 trailer/1/left/outer');
    const [silent] = madeOf(frames).guess.axles.filter(({ seen }) => seen.length === 0);
    expect(silent).toMatchObject({ unit: 'tractor', index: 1, doubts: ['no tire of this axle was heard'] });
  });

  it("has a trailer for a trailer's own sender, which counts from the front again", () => {
    const frames = [...tires([...STEER, ...dual(1)]), ...tires([...dual(0), ...dual(1)], { sa: TRAILER })];
    expect(shapeOf(frames)).toBe('tractor: single dual; trailer: dual dual');
    expect(subjectsOf(frames)).toEqual(
      expect.arrayContaining([
        '51 10 tractor/2/left/outer',
        '205 0 trailer/1/left/outer',
        '205 13 trailer/2/right/outer',
      ]),
    );
    expect(subjectsOf(frames).every((line) => !line.endsWith('null'))).toBe(true);
  });

  it('has a trailer for a sender on another bus that says other pressures at the same locations, none for a repeater', () => {
    const tractor = tires([...STEER, ...dual(1)]);
    const other = tires(dual(0), { bus: 1, kpa: 600 });
    expect(shapeOf([...tractor, ...other])).toBe('tractor: single dual; trailer: dual');
    const repeated = tires([...STEER, ...dual(1)], { bus: 1, kpa: 704 });
    expect(shapeOf([...tractor, ...repeated])).toBe('tractor: single dual');
    expect(madeOf([...tractor, ...repeated]).guess.tirePositions).toEqual([]);
  });

  it('doubts an axle that is not fully heard', () => {
    const doubtsOf = (positions: readonly number[]): unknown => {
      const { axles, units } = madeOf(tires([...STEER, ...positions.map((p) => 0x10 + p)])).guess;
      const axle = axles.find(({ index }) => index === 1)!;
      return [units[0]!.axles[1]!.tires, axle.doubts.length > 0];
    };
    expect(doubtsOf([0, 1, 2, 3])).toEqual(['dual', false]);
    expect(doubtsOf([0, 1])).toEqual(['single', false]);
    expect(doubtsOf([0, 1, 3])).toEqual(['dual', true]);
    expect(doubtsOf([2])).toEqual(['dual', true]);
    expect(doubtsOf([0, 3])).toEqual(['single', true]);
    expect(doubtsOf([0, 1, 2, 3, 4])).toEqual(['dual', true]);
  });

  it('maps single tires at the outer places of a grid of four', () => {
    expect(subjectsOf(tires([...STEER, 0x10, 0x13]))).toEqual(
      expect.arrayContaining(['51 10 tractor/2/left/single', '51 13 tractor/2/right/single']),
    );
  });
});

describe('a draft', () => {
  const source = 'x.log';
  const draft = (frames: readonly Frame[]): string => {
    const { report, guess } = madeOf(frames);
    const buses = report.buses.map(({ bus, interface: link }) => ({ name: bus, interface: link, acknowledge: false }));
    return draftOf({ report, guess, buses, fleet: null, truck: null, source });
  };
  const cases: [string, Frame[]][] = [
    ['nothing', []],
    ['tires alone', tires([...STEER, ...dual(1)])],
    ['a trailer that is counted from further on', tires([...STEER, ...dual(1), ...dual(6)])],
    ["a trailer's own sender", [...tires([...STEER, ...dual(1)]), ...tires(dual(0), { sa: TRAILER })]],
    ['positions that no axle has', tires([...STEER, 0x14, 0x15, 0x16, 0x17, 0x18])],
    ['every location byte', tires(Array.from({ length: 255 }, (_, i) => i))],
    ['brakes alone', [strokes(0, [0, 1, 2, 3, 10, 11])]],
    ['single tires in a grid of four', tires([0x00, 0x03, 0x11, 0x12])],
  ];

  it.each(cases)('of %s loads, and means the tires that the survey says', (_, frames) => {
    const { config, problems } = readTruckFile(draft(frames), 'draft.yaml');
    expect(problems ?? []).toEqual([]);
    const { guess } = madeOf(frames);
    const subjects = listSubjects(config!.units).tires.map(({ subject }) => subject);
    expect(subjects).toEqual(listSubjects(guess.units).tires.map(({ subject }) => subject));
    expect(config!.tirePositions).toEqual(guess.tirePositions);
  });

  it('invents no target: what was measured stands in comments, beside what a person must do', () => {
    const text = draft(tires([...STEER, ...dual(1)], { kpa: 688 }));
    const { config } = readTruckFile(text, 'draft.yaml');
    expect(config!.units.flatMap(({ axles }) => axles.map((axle) => [axle.coldPressureKpa, axle.chamber]))).toEqual([
      [null, null],
      [null, null],
    ]);
    const measured = text.split('\n').filter((line) => line.includes('688'));
    expect(measured).toHaveLength(2);
    for (const line of measured) expect(line).toMatch(/^\s*# DECIDE: .*\(100 to 100 psi\).*no target/);
  });

  it("tells the sender's own target as the sender's word", () => {
    const reference = { ...frameOf(50, 64953, TRACTOR, { 3190: 0x00, 3191: 760 }) };
    expect(draft([...tires(STEER), reference])).toContain('# The sender itself holds 760 kPa (110 psi) for right.');
  });
});
