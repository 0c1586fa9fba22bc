import { describe, expect, it } from 'vitest';
import { makeId } from '../../../daemon/j1939/identifier.js';
import { broadcast, type Dtc, dm1Payload } from '../../../simulator/encode.js';
import { Drive } from './drive.js';

const CODE = 'fault-code';
const LAMP = 'stop-lamp';
/** SPN 117 is ours (primary air pressure), 100 (engine oil) is not; FMI 18: too low, 1: far too low. */
const AIR: Dtc = { spn: 117, fmi: 18, count: 1 };

type Color = 'none' | 'amber' | 'red';

/** DM1 once a second. */
function dm1(d: Drive, seconds: number, lamp: Color, codes: Dtc[], source = 11): Drive {
  return d.run(seconds, () => {
    const payload = dm1Payload(lamp, codes);
    if (payload.length <= 8) d.send(65226, source, payload);
    else for (const f of broadcast(d.t, source, 65226, payload)) d.stepper.frame(f.t, 0, f.id, f.data, f.data.length);
  });
}

const driving = (): Drive => new Drive().run(30);

describe('fault-code', () => {
  it.each([
    ['amber', 18, 'plan'],
    ['none', 31, 'plan'],
    ['amber', 0, 'next-stop'],
    ['amber', 1, 'next-stop'],
    ['amber', 2, 'plan'],
    ['red', 18, 'pull-over'],
    ['red', 1, 'pull-over'],
  ] as [Color, number, string][])('lamp %s, FMI %d: %s', (lamp, fmi, urgency) => {
    const d = dm1(driving(), 5, lamp, [{ ...AIR, fmi }]);
    expect(d.of(CODE)).toEqual([`raised ${urgency}`]);
    const [e] = d.list(CODE);
    expect(e).toMatchObject({ subject: `fault/main/11/117/${fmi}`, kind: 'equipment' });
    expect(e!.measured).toMatchObject({ code: fmi });
    expect((e!.measured as { text: string }).text).toContain('SPN 117 primary air pressure');
  });

  it('two DM1 in a row, not one, and not every other one', () => {
    const d = dm1(driving(), 1, 'amber', [AIR]);
    d.run(5);
    expect(d.of(CODE)).toEqual([]);
    const e = driving();
    for (let i = 0; i < 10; i++) dm1(e, 1, 'amber', i % 2 === 0 ? [AIR] : []);
    expect(e.of(CODE)).toEqual([]);
  });

  it('gone after 10 s of DM1 without it, not by silence', () => {
    const d = dm1(driving(), 5, 'amber', [AIR]);
    d.run(200);
    expect(d.of(CODE).some((x) => x.startsWith('cleared'))).toBe(false);
    dm1(d, 9, 'none', []);
    expect(d.of(CODE).some((x) => x.startsWith('cleared'))).toBe(false);
    dm1(d, 4, 'none', []);
    expect(d.of(CODE).at(-1)).toBe('cleared plan');
  });

  it('DM1 of another source says nothing of it', () => {
    const d = dm1(driving(), 5, 'amber', [AIR]);
    dm1(d, 20, 'none', [], 48);
    expect(d.of(CODE).filter((x) => x.startsWith('cleared'))).toEqual([]);
  });

  it('gets worse with the red lamp and better without it', () => {
    const d = dm1(driving(), 5, 'amber', [AIR]);
    dm1(d, 5, 'red', [AIR]);
    dm1(d, 15, 'amber', [AIR]);
    expect(d.of(CODE)).toEqual(['raised plan', 'worse pull-over', 'better plan']);
  });

  it('several codes, in a broadcast', () => {
    const d = dm1(driving(), 5, 'amber', [AIR, { spn: 789, fmi: 5, count: 2 }, { spn: 100, fmi: 1, count: 1 }]);
    expect(d.list(CODE).map((e) => e.subject)).toEqual(['fault/main/11/117/18', 'fault/main/11/789/5']);
  });

  it('a code in one of the old layouts (CM = 1) and one that is not ours are not taken', () => {
    const d = driving();
    const payload = dm1Payload('amber', [{ ...AIR, count: 0x80 | 1 }]);
    d.run(10, () => d.send(65226, 11, payload));
    dm1(d, 10, 'amber', [{ spn: 100, fmi: 1, count: 1 }]);
    expect(d.of(CODE)).toEqual([]);
  });

  it('watches at most 64 codes, counts what found no room, and has room again a minute later', () => {
    const d = driving();
    const flood = Array.from({ length: 80 }, (_, i) => ({ spn: 7113 + (i % 40), fmi: i < 40 ? 3 : 4, count: 1 }));
    for (const code of flood) d.send(65226, 11, dm1Payload('none', [code]));
    d.run(1);
    expect(Object.keys(d.pipeline.state.judgements[CODE]!).length).toBe(64);
    expect(d.pipeline.state.faults.droppedCodes).toBe(16);
    dm1(d, 130, 'none', []);
    expect(Object.keys(d.pipeline.state.judgements[CODE]!).length).toBe(0);
    dm1(d, 5, 'amber', [AIR]);
    expect(d.of(CODE)).toEqual(['raised plan']);
  });
});

describe('stop-lamp', () => {
  it('5 s of red lamp without a code of ours, engine running 10 s: pull-over', () => {
    const d = dm1(driving(), 4, 'red', [{ spn: 100, fmi: 1, count: 1 }]);
    expect(d.of(LAMP)).toEqual([]);
    dm1(d, 4, 'red', [{ spn: 100, fmi: 1, count: 1 }]);
    expect(d.of(LAMP)).toEqual(['raised pull-over']);
    expect(d.list(LAMP)[0]).toMatchObject({ subject: 'lamp/main', place: 'red stop lamp, bus main' });
    dm1(d, 13, 'none', []);
    expect(d.of(LAMP)).toEqual(['raised pull-over', 'cleared pull-over']);
  });

  it('not while a code of the same DM1 is open', () => {
    const d = dm1(driving(), 60, 'red', [AIR]);
    expect(d.of(LAMP)).toEqual([]);
    expect(d.of(CODE)).toEqual(['raised pull-over']);
  });

  it('lamps tested at the start of the engine, and with the engine off, are none', () => {
    const d = new Drive();
    Object.assign(d.world, { rpm: 0, kmh: 0, parked: 1 });
    dm1(d, 60, 'red', []);
    d.world.rpm = 800;
    dm1(d, 9, 'red', []);
    dm1(d, 60, 'none', []);
    expect(d.of(LAMP)).toEqual([]);
  });

  it('a unit that falls silent with its lamp on does not clear it, whatever others say; its own DM1 does', () => {
    const d = dm1(driving(), 10, 'red', []);
    expect(d.of(LAMP)).toEqual(['raised pull-over']);
    dm1(d, 60, 'none', [], 48);
    expect(d.of(LAMP).filter((x) => x.startsWith('cleared'))).toEqual([]);
    dm1(d, 15, 'none', []);
    expect(d.of(LAMP).at(-1)).toBe('cleared pull-over');
  });

  it('a lamp of before the engine was started anew holds nothing up', () => {
    const d = dm1(driving(), 10, 'red', []);
    d.world.rpm = 0;
    d.run(10);
    d.world.rpm = 800;
    dm1(d, 40, 'none', [], 48);
    expect(d.of(LAMP).at(-1)).toBe('cleared pull-over');
  });
});

describe('bus-silent', () => {
  it('10 s without a frame while moving: plan, from the bus by its name; cleared when it is back', () => {
    const d = driving();
    // The last frame came a second ago.
    d.rest(8);
    expect(d.of('bus-silent')).toEqual([]);
    d.rest(4);
    expect(d.of('bus-silent')).toEqual(['raised plan']);
    expect(d.list('bus-silent')[0]).toMatchObject({ subject: 'bus/main', kind: 'system' });
    expect((d.list('bus-silent')[0]!.measured as { silentS: number }).silentS).toBeGreaterThanOrEqual(10);
    d.run(15);
    expect(d.of('bus-silent')).toEqual(['raised plan', 'cleared plan']);
  });

  it('frames of no interest are no life', () => {
    const d = driving();
    const id = makeId({ priority: 6, pgn: 65262, source: 0 });
    expect(d.pipeline.interest[(id >>> 8) & 0x3ffff]).toBe(0);
  });

  it('not when the truck stood', () => {
    const d = driving();
    d.world.kmh = 0;
    d.run(10);
    d.rest(120);
    expect(d.of('bus-silent')).toEqual([]);
  });
});
