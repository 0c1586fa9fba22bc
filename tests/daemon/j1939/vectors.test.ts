import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { decodeGroup, readerFor } from '../../../daemon/j1939/decode.js';
import { decodeDm1, decodeTroubleCode } from '../../../daemon/j1939/dm1.js';
import { pgnOf } from '../../../daemon/j1939/identifier.js';
import { decodeName } from '../../../daemon/j1939/name.js';
import type { Quality } from '../../../daemon/j1939/ranges.js';
import { newTransportState, Transport } from '../../../daemon/j1939/transport.js';
import { bytes, frame, shared } from './helpers.js';

/* Published vectors of other open projects; source and licence of each are in the file. */

interface Vector {
  kind: string;
  name: string;
  source: string;
  frame: string;
  frames: string[];
  data: string;
  start_bit: number;
  spn_length_bits: number;
  // biome-ignore lint/suspicious/noExplicitAny: the shape depends on the kind
  expect: any;
}

const file = shared('data/vectors.json');
const all: Vector[] = existsSync(file.path) ? JSON.parse(readFileSync(file.path, 'utf8')).vectors : [];
const of = (kind: string) => all.filter((vector) => vector.kind === kind).map((v) => [v.name, v.source, v] as const);

/** The wording of the vectors for signals, by frame, as SPN and value; the sources' words are free text. */
const SIGNALS: Record<string, Record<number, number | Quality>> = {
  '18FEE000#FFFFFFFFB05C6800': { 245: 854934 },
  '0CF00400#207D87481400F087': { 190: 649, 512: 0, 513: 10, 2432: 10 },
  '18FEAE31#FFFF6565FFFFFFFF': {
    1087: 808,
    1088: 808,
    46: 'absent',
    1086: 'absent',
    1089: 'absent',
    1090: 'absent',
    1351: 'absent',
  },
  '18FEFA31#FFC9CAFFFFFFFFFF': { 117: 804, 118: 808, 116: 'absent' },
  '18FEAEE6#FF508787FFFFFFFF': { 1086: 640, 1087: 1080, 1088: 1080, 46: 'absent' },
  '18FEF1E6#F7FFFFCBFFFFFFFF': { 70: 1, 84: 'absent' },
  '18F001E6#FF00CFFFFFFFFFFF': { 521: 0 },
  '18F0010B#CFFFF0FFFFCDFFFF': { 521: 'absent', 563: 0, 1243: 1, 1438: 0 },
  '18FEF131#F3FFFFD3CCFFFFF0': { 597: 1, 70: 0 },
  '18FEF131#F3FFFFC3CCFFFFF0': { 597: 0 },
  '18FEF433#00E100244100005F': { 929: 0, 241: 900, 242: 15, 1699: 1, 1698: 0, 1697: 0, 2587: 2 },
  '18FEF433#0001C0244100009F': { 929: 0, 241: 4, 242: 21, 2587: 4 },
};

const INDICATORS: Record<string, Quality> = {
  Error: 'error',
  'N/A': 'absent',
  Reserved: 'reserved',
  'Parameter specific': 'specific',
};

function listen(frames: readonly string[]) {
  const heard: { pgn: number; sa: number; da: number; data: string }[] = [];
  const transport = new Transport(
    () => true,
    (_t, pgn, sa, da, data, length) =>
      heard.push({ pgn, sa, da, data: Buffer.from(data.subarray(0, length)).toString('hex').toUpperCase() }),
    newTransportState(),
  );
  frames.forEach((text, i) => {
    const { id, data } = frame(text);
    transport.frame(i * 50, id, data, data.length);
  });
  return { heard, transport };
}

const lampWord = (lamp: string, flash: string) => (lamp === 'on' && flash !== 'none' ? `on, ${flash} flash` : lamp);

describe.skipIf(file.absent)(`published vectors${file.why}`, () => {
  it('are all of a kind that is checked here', () => {
    const counts: Record<string, number> = {};
    for (const { kind } of all) counts[kind] = (counts[kind] ?? 0) + 1;
    expect(counts).toEqual({
      tp: 15,
      tp_timeout: 2,
      tp_cm_layout: 5,
      dtc: 6,
      dm1: 4,
      signal: 12,
      name: 5,
      indicator_range: 29,
    });
  });

  it.each(of('tp'))('%s (%s)', (_name, _source, vector) => {
    const expected = vector.expect.map(({ pgn, sa, da, data }: Record<string, unknown>) => ({ pgn, sa, da, data }));
    const { heard } = listen(vector.frames);
    expect(heard).toEqual(expected);
    const dm1 = vector.expect[0]?.dm1;
    if (!dm1) return;
    const data = bytes(heard[0]!.data);
    expect(decodeDm1(data, data.length).codes.map(({ spn, fmi, oc }) => [spn, fmi, oc])).toEqual(dm1.dtcs);
  });

  it.each(of('tp_timeout'))('%s (%s)', (_name, _source, vector) => {
    const { heard, transport } = listen(vector.frames);
    const last = (vector.frames.length - 1) * 50;
    transport.expire(last + 750);
    expect(transport.state.sessions).toHaveLength(1);
    transport.expire(last + 751);
    expect(transport.state.sessions).toEqual([]);
    expect(transport.state.counters.timedOut).toBe(1);
    expect(heard).toEqual([]);
  });

  it.each(of('tp_cm_layout'))('%s (%s): read as what its name says', (name, _source, vector) => {
    const announce = '1CEC0201#1064000F01CAFE00';
    const toGlobal = name.includes('BAM');
    const answer = name.includes('CTS') || name.includes('EndOfMsgAck');
    const id = toGlobal ? '1CECFF01' : answer ? '1CEC0102' : '1CEC0201';
    const opens = toGlobal || name.includes('RTS');
    const { transport } = listen([...(opens ? [] : [announce]), `${id}#${vector.data}`]);
    const ends = name.includes('EndOfMsgAck') || name.includes('Abort');
    expect(transport.state.sessions).toHaveLength(ends ? 0 : 1);
    if (!ends) {
      expect(transport.state.sessions[0]).toMatchObject({ size: 100, packets: 15, pgn: 65226, broadcast: toGlobal });
    }
    expect(transport.state.counters.malformed + transport.state.counters.refused).toBe(0);
  });

  it.each(of('dtc'))('%s (%s)', (_name, _source, vector) => {
    const { spn, fmi, oc, cm } = vector.expect;
    const code = decodeTroubleCode(bytes(vector.data), 0);
    if (spn === 0 && fmi === 0) expect(code).toBeNull();
    else expect(code).toEqual({ spn, fmi, oc, cm });
  });

  it.each(of('dm1'))('%s (%s)', (_name, _source, vector) => {
    const data = vector.data ? bytes(vector.data) : frame(vector.frame).data;
    const { lamps, flash, codes } = decodeDm1(data, data.length);
    const { mil, red_stop, amber, protect, dtcs } = vector.expect;
    expect(codes.map(({ spn, fmi, oc }) => [spn, fmi, oc])).toEqual(dtcs);
    if (mil !== undefined) expect(lampWord(lamps.mil, flash.mil)).toBe(mil);
    if (red_stop !== undefined) expect(lampWord(lamps.redStop, flash.redStop)).toBe(red_stop);
    if (amber !== undefined) expect(lampWord(lamps.amber, flash.amber)).toBe(amber);
    if (protect !== undefined) expect(lampWord(lamps.protect, flash.protect)).toBe(protect);
    if (vector.expect.lamps) expect(Object.values(lamps).concat()).toEqual(['off', 'off', 'off', 'off']);
  });

  it.each(of('signal').map(([, source, vector]) => [vector.frame, source, vector] as const))(
    '%s (%s)',
    (_frame, _source, vector) => {
      const { id, data } = frame(vector.frame);
      const fields = decodeGroup(pgnOf(id), data, data.length);
      expect(SIGNALS[vector.frame]).toBeDefined();
      for (const [spn, expected] of Object.entries(SIGNALS[vector.frame]!)) {
        const field = fields.find((one) => one.spn === Number(spn))!;
        expect([spn, field.quality === 'good' ? field.value : field.quality]).toEqual([spn, expected]);
      }
    },
  );

  it.each(of('name'))('%s (%s)', (_name, _source, vector) => {
    const name = decodeName(frame(vector.frame).data)!;
    expect({
      identity: name.identity,
      manufacturer: name.manufacturer,
      ecu_instance: name.ecuInstance,
      function_instance: name.functionInstance,
      function: name.function,
      vehicle_system: name.vehicleSystem,
      vehicle_system_instance: name.vehicleSystemInstance,
      industry_group: name.industryGroup,
      arbitrary_address_capable: Number(name.arbitraryAddress),
    }).toEqual(vector.expect);
  });

  it.each(of('indicator_range'))('%s (%s)', (_name, _source, vector) => {
    const field = readerFor({ startBit: vector.start_bit, bits: vector.spn_length_bits, scale: 1, offset: 0 });
    expect(field.read(frame(vector.frame).data, 8)).toBeNaN();
    expect(field.quality).toBe(INDICATORS[vector.expect]);
  });
});
