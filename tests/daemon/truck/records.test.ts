import { describe, expect, it } from 'vitest';
import { MOST_PER_TICK, newRecords, Records, type TruckRecord } from '../../../daemon/truck/records.js';
import { Drive, truck } from '../monitors/drive.js';

/** BSA codes by SPN: 3785 is the first wheel end. */
const OK = Object.fromEntries(Array.from({ length: 20 }, (_, i) => [3785 + i, 0]));

function driving(): Drive {
  const d = new Drive(truck());
  d.isFine = true;
  Object.assign(d.world, { pedal: null, brakeSwitch: null, strokes: { ...OK } });
  d.run(5);
  return d;
}

/** kPa for so many seconds, then released for five. */
function press(d: Drive, kpa: number | null, seconds: number, more: Partial<Drive['world']> = {}): void {
  Object.assign(d.world, { brakeKpa: kpa, ...more });
  d.run(seconds);
  Object.assign(d.world, { brakeKpa: kpa === null ? null : 0, pedal: more.pedal === undefined ? null : 0 });
  if (more.brakeSwitch !== undefined) d.world.brakeSwitch = 0;
  d.run(5);
}

describe('a brake application as a record', () => {
  it('told by pressure: once a second, from the first 20 kPa until 10 kPa for half a second', () => {
    const d = driving();
    d.world.strokes = { ...OK, 3787: 2 };
    press(d, 200, 4, { kmh: 60 });
    const [record, ...more] = d.recordsOf('brake-application');
    expect(more).toEqual([]);
    expect(record).toMatchObject({ subject: 'brakes', startAt: 5000 });
    expect(record!.values).toMatchObject({
      from: 'pressure',
      peakKpa: 200,
      startKmh: 60,
      endKmh: 60,
      qualifying: true,
    });
    expect(record!.values.durationS).toBeGreaterThanOrEqual(4);
    expect(record!.values.durationS).toBeLessThanOrEqual(5);
    expect(record!.endAt - record!.startAt).toBe(record!.values.durationS * 1000);
    // Fields of BSA from front to rear, left to right: the third is the left one of axle 2.
    expect(record!.values.wheels['tractor/2/left']).toEqual({ code: 2, strokeMm: null });
    expect(Object.keys(record!.values.wheels)).toHaveLength(10);
  });

  it('told by the pedal, which sets begin and end; the mean is of all pressures in it', () => {
    const d = driving();
    Object.assign(d.world, { pedal: 30, kmh: 72 });
    for (const kpa of [100, 200, 300]) press0(d, kpa);
    Object.assign(d.world, { pedal: 0, brakeKpa: 0, kmh: 36 });
    d.run(5);
    const { values } = d.recordsOf('brake-application')[0]!;
    expect(values).toMatchObject({ durationS: 3, peakKpa: 300, meanKpa: 200, from: 'pedal', startKmh: 72, endKmh: 36 });
  });

  it('told by the switch alone: no pressure is made up', () => {
    const d = driving();
    Object.assign(d.world, { kmh: null, brakeSwitch: 0, brakeKpa: null });
    d.rest(20).run(5);
    press(d, null, 2, { brakeSwitch: 1 });
    const { values } = d.recordsOf('brake-application')[0]!;
    expect(values).toMatchObject({ from: 'switch', durationS: 2, peakKpa: null, meanKpa: null, qualifying: true });
    expect([values.startKmh, values.endKmh]).toEqual([null, null]);
  });

  it.each([
    [136, false],
    [140, true],
  ])('%d kPa: qualifying %s', (kpa, qualifying) => {
    const d = driving();
    press(d, kpa, 3);
    expect(d.recordsOf('brake-application').map((r) => r.values.qualifying)).toEqual([qualifying]);
  });

  it('wheel ends that tell nothing are not listed', () => {
    const d = driving();
    d.world.strokes = null;
    d.run(5);
    press(d, 200, 3);
    expect(d.recordsOf('brake-application')[0]!.values.wheels).toEqual({});
  });

  it('takes the air that it used from both circuits; not while the compressor says that it pumps', () => {
    const used = (pumping: boolean): number | null => {
      const d = driving();
      const compressor = (): void => d.send(65198, 48, { 1351: pumping ? 1 : 0 });
      d.run(3, compressor);
      Object.assign(d.world, { brakeKpa: 300, primary: 780, secondary: 788 });
      d.run(3, compressor);
      d.world.brakeKpa = 0;
      d.run(5, compressor);
      return d.recordsOf('brake-application')[0]!.values.airUsedKpa;
    };
    // From 800 in both.
    expect(used(false)).toBe(16);
    expect(used(true)).toBeNull();
  });

  it('a tank that is fuller afterwards tells nothing of what was used', () => {
    const d = driving();
    Object.assign(d.world, { brakeKpa: 300, primary: 840, secondary: 840 });
    d.run(3);
    d.world.brakeKpa = 0;
    d.run(5);
    expect(d.recordsOf('brake-application')[0]!.values.airUsedKpa).toBeNull();
  });
});

const press0 = (d: Drive, kpa: number): void => {
  d.world.brakeKpa = kpa;
  d.run(1);
};

describe('records of one second', () => {
  const record = (n: number): TruckRecord => ({
    kind: 'air-cycle',
    subject: 'air/supply',
    startAt: n,
    endAt: n,
    values: { cutInKpa: n, cutOutKpa: n, pumpingS: 1, revolutionsPer100Kpa: null },
  });

  it('are given once, in order, at most so many; the rest is counted', () => {
    const counters = { recordsDropped: 0 };
    const records = new Records(newRecords(), counters);
    const heard: number[] = [];
    records.listen = (r) => heard.push(r.startAt);
    for (let n = 0; n < MOST_PER_TICK + 3; n++) records.add(record(n));
    expect(records.take().map((r) => r.startAt)).toEqual(Array.from({ length: MOST_PER_TICK }, (_, n) => n));
    expect([records.take(), counters.recordsDropped, heard.length]).toEqual([[], 3, MOST_PER_TICK + 3]);
    const taken = records.take();
    records.add(record(9));
    expect(taken).toEqual([]);
  });
});
