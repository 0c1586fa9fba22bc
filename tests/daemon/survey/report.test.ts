import { describe, expect, it } from 'vitest';
import { makeId } from '../../../daemon/j1939/identifier.js';
import { makeReport } from '../../../daemon/survey/make-report.js';
import type { LocationReport } from '../../../daemon/survey/report.js';
import { MAX_OTHERS } from '../../../daemon/survey/report-traffic.js';
import { MAX_BUSES, Survey } from '../../../daemon/survey/survey.js';
import { broadcast, dm1Payload } from '../../../simulator/encode.js';
import { type Frame, frameOf } from '../../support/rig.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';
import { bytes, frame } from '../j1939/helpers.js';
import { reportOf, SOURCE, surveyOf } from './helpers.js';

const TIRE1 = 65268;
const TIRE2 = 64578;
const at = (t: number, text: string): Frame => ({ t, ...frame(text) });
const tiresOf = (frames: readonly Frame[]): LocationReport[] => reportOf(frames).tires;

describe('tires', () => {
  // facts, worked examples: 900 kPa and 15 °C, no warning; 4 kPa and 21 °C, extreme under-pressure.
  it('are told by location, with values, interval and verdicts of the sender', () => {
    const [tire, ...others] = tiresOf([at(0, '18FEF433#00E100244100005F'), at(10_020, '18FEF433#0001C0244100009F')]);
    expect(others).toEqual([]);
    expect(tire).toMatchObject({
      ...{ sa: 51, location: 0, frames: 2, from: 'TIRE1', absent: 0, idle: 0, outOfRange: 1 },
      pressure: { last: 4, least: 4, most: 900 },
      temperature: { last: 21, least: 15, most: 21 },
    });
    expect(Math.abs(tire!.medianMs! - 10_020)).toBeLessThan(41);
  });

  it('that a sender knows and has not heard have no pressure', () => {
    // facts 10.36: location 0x00, everything not available. And the idle patterns: 0 kPa with 0 °C, with −273 °C.
    const zero = at(10, '18FEF433#0100202200000000');
    const [absent, idle] = tiresOf([at(0, '18FEF427#00FFFFFFFFFFFFFF'), zero, at(20, '18FEF433#0100000000000000')]);
    expect(absent).toMatchObject({ sa: 39, frames: 1, pressure: null, absent: 1, idle: 0 });
    expect(idle).toMatchObject({ sa: 51, frames: 2, pressure: null, temperature: null, idle: 2 });
  });

  it('give the pressure by TIRE2 where it comes and is not denied', () => {
    const both = (extended: number): Frame[] => [
      frameOf(0, TIRE1, 51, { 929: 0x10, 241: 700, 6990: extended }),
      frameOf(5, TIRE2, 51, { 6987: 0x10, 6988: 703, 6989: 690 }),
    ];
    expect(tiresOf(both(1))[0]).toMatchObject({ from: 'TIRE2', pressure: { last: 703 }, target: 690 });
    expect(tiresOf(both(0))[0]).toMatchObject({ from: 'TIRE1', pressure: { last: 700 } });
  });

  it('without a location are counted and named nowhere', () => {
    const survey = surveyOf([frameOf(0, TIRE1, 51, { 241: 700 })]);
    expect(survey.tires.list()).toEqual([]);
    expect(survey.tires.nowhere).toBe(1);
  });
});

describe('a group with a location byte', () => {
  it('has the interval of one location, not that between the tires of a set', () => {
    const set = (t: number): Frame[] => [0, 1, 2].map((n) => frameOf(t + 35 * n, TIRE1, 51, { 929: n, 241: 700 }));
    const { groups } = reportOf([...set(0), ...set(10_000), ...set(20_000)]);
    const [tire1] = groups;
    expect(tire1).toMatchObject({ count: 9, byLocation: true });
    expect(Math.abs(tire1!.medianMs! - 10_000)).toBeLessThan(40);
  });
});

describe('long messages', () => {
  it('are put together: fault codes with lamps, texts', () => {
    const codes = [
      { spn: 117, fmi: 18, count: 1 },
      { spn: 100, fmi: 1, count: 127 },
    ];
    const vin = Uint8Array.from('NORTHLINE00T1042X*', (char) => char.charCodeAt(0));
    const frames = [...broadcast(0, 48, 65226, dm1Payload('amber', codes)), ...broadcast(1000, 0, 65260, vin)];
    const report = reportOf(frames);
    expect(report.faults).toEqual([
      {
        ...{ bus: 'main', sa: 48, messages: 1, lamps: ['amber warning'], more: 0 },
        ageS: (frames.at(-1)!.t - frames[2]!.t) / 1000,
        codes: [
          { spn: 117, fmi: 18, count: 1, oldLayout: false, area: 'air-pressure', text: 'primary air pressure' },
          { spn: 100, fmi: 1, count: null, oldLayout: false, area: null, text: null },
        ],
      },
    ]);
    expect(report.groups.find(({ acronym }) => acronym === 'VI')!.signals[0]!.text).toBe('NORTHLINE00T1042X');
    expect(report.buses[0]!.transfers).toEqual({ complete: 2, broken: 0 });
  });

  it('that break off are counted', () => {
    const [announce] = broadcast(0, 48, 65226, new Uint8Array(20).fill(1));
    expect(reportOf([announce!, frameOf(5000, 61444, 0, { 190: 800 })]).buses[0]!.transfers).toEqual({
      complete: 0,
      broken: 1,
    });
  });
});

describe('the bus', () => {
  it('has rates, load on the wire, foreign frames, classes of error frames', () => {
    const id = makeId({ priority: 6, pgn: 65262, source: 0 });
    const survey = new Survey();
    survey.addBus('main', 'can0');
    for (let t = 0; t < 1001; t += 100) survey.frame(t, 0, id, new Uint8Array(8), 8);
    // EDP and DP set: ISO 15765-3 (SAE J1939-21).
    survey.frame(1000, 0, 0x1bda00f9, new Uint8Array(8), 8);
    survey.errorFrame(1000, 0, 0x20000000 | 0x88);
    const [bus] = makeReport(survey, null, SOURCE).report.buses;
    expect(bus).toMatchObject({ frames: 12, perS: 12, ofInterest: 0, foreign: 1, errorFrames: 1 });
    // 131 bits for 8 bytes, 160 with the most stuffing.
    expect(bus!.bitsPerS).toEqual([12 * 131, 12 * 160]);
    expect(bus!.errors).toEqual({ 'protocol violation': 1, 'bus error': 1 });
  });

  it('lists other groups, most frames first, with the bytes that change, and counts what it leaves out', () => {
    const own = (t: number, data: string): Frame => ({
      t,
      id: makeId({ priority: 6, pgn: 0xff21, source: 144 }),
      data: bytes(data),
    });
    const many = Array.from(
      { length: 120 },
      (_, n): Frame => ({ t: n, id: makeId({ priority: 6, pgn: 0xf100 + n, source: 7 }), data: bytes('00') }),
    );
    const report = reportOf([...many, own(200, '0102FF'), own(300, '0103FF'), own(400, '0104FE')]);
    expect(report.others).toHaveLength(MAX_OTHERS);
    expect(report.others[0]).toMatchObject({
      pgn: 0xff21,
      kind: 'proprietary',
      count: 3,
      medianMs: 100,
      data: '0104FE',
      changed: [2, 3],
    });
    // 61712 (B2) and 61697 are among the 120: the first is of interest.
    expect(report.leftOut.others).toBe(121 - 1 - MAX_OTHERS);
  });

  it('has room for eight, as a truck file has', () => {
    const survey = new Survey();
    const added = Array.from({ length: 9 }, (_, n) => survey.addBus(`b${n}`, `can${n}`));
    expect(added.at(-1)).toBe(-1);
    expect(survey.buses).toHaveLength(MAX_BUSES);
  });
});

describe('positions', () => {
  const here = [frameOf(0, 65267, 23, { 584: 47.15, 585: -97.9123456 })];
  const longitude = (file: string): number | null =>
    reportOf(here, truckOf(file)).groups[0]!.signals.find(({ spn }) => spn === 585)!.last;

  it('are as exact as the truck file allows', () => {
    expect(longitude(LAYOUT)).toBeCloseTo(-97.9123456, 6);
    expect(longitude(`${LAYOUT}show: {position: rounded}\n`)).toBe(-97.91);
    expect(longitude(`${LAYOUT}show: {position: none}\n`)).toBeNull();
  });
});

describe('against a truck file', () => {
  const signals = `signals:
  - {pgn: 0xFF21, source: 144, byte: 1, length: 8, scale: 0.5 mm, quantity: stroke, subject: tractor/2/left}
  - {pgn: 0xFF21, source: 144, byte: 2, length: 8, scale: 0.5 mm, quantity: stroke, subject: tractor/2/right}
tirePositions: {main/60: {"0x10": tractor/2/left/inner}}
`;
  const config = truckOf(`${LAYOUT.replace(', coldPressure: 120 psi', '')}${signals}`);
  const strokes: Frame = {
    t: 0,
    id: makeId({ priority: 6, pgn: 0xff21, source: 144 }),
    data: bytes('14FFFFFFFFFFFFFF'),
  };
  const frames = [
    strokes,
    frameOf(1, TIRE1, 51, { 929: 0x00, 241: 820, 242: 20 }),
    frameOf(2, TIRE1, 51, { 929: 0x01 }),
    frameOf(3, TIRE1, 51, { 929: 0x50, 241: 700, 242: 20 }),
    frameOf(
      4,
      64881,
      11,
      Object.fromEntries(Array.from({ length: 20 }, (_, f) => [3785 + f, f === 0 || f === 8 ? 0 : 7])),
    ),
  ];

  it('says what is missing, and what is there that it does not have', () => {
    const { truckFile } = reportOf(frames, config);
    expect(truckFile).toMatchObject({
      buses: [],
      tiresWithoutPressure: ['tractor/1/right/single'],
      signalsUnheard: ['stroke of tractor/2/right'],
      sendersUnheard: ['main/60'],
      strangeLocations: [{ bus: 'main', sa: 51, location: 0x50, frames: 1 }],
      strangeBrakes: [{ bus: 'main', sa: 11, place: 'tractor/5/left' }],
      axlesWithoutColdPressure: ['tractor/1'],
      axlesWithoutChamber: [],
    });
    expect(truckFile!.tiresUnheard).toHaveLength(16);
    expect(truckFile!.tiresUnheard).not.toContain('tractor/1/left/single');
    // By BSA and by measured stroke.
    expect(truckFile!.brakesUnheard).toHaveLength(8);
    expect(truckFile!.brakesUnheard).not.toContain('tractor/1/left');
    expect(truckFile!.brakesUnheard).not.toContain('tractor/2/left');
  });

  it('measured stroke is told, raw 20 as 10 mm (0.5 mm per bit)', () => {
    const { extras } = reportOf(frames, config);
    expect(extras[0]).toMatchObject({ subject: 'tractor/2/left', count: 1, good: 1, last: 10 });
    expect(extras[1]).toMatchObject({ subject: 'tractor/2/right', count: 1, good: 0, last: null });
  });
});
