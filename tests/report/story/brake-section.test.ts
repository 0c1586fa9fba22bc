import { describe, expect, it } from 'vitest';
import type { TruckConfig } from '../../../config/resolved.js';
import type { BrakeApplicationValues } from '../../../daemon/truck/records.js';
import type { Gathered, GatheredRecord } from '../../../report/gathered.js';
import { brakeSection, MOST_APPLICATIONS } from '../../../report/story/brake-section.js';
import { CHAMBERS } from '../../daemon/monitors/brake-bench.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';
import { pressed } from '../support/brakes.js';
import { event, run } from '../support/by-hand.js';
import { cityShift, driveShift } from '../support/drive-shift.js';

const LEFT = 'tractor/2/left';
const RIGHT = 'tractor/2/right';

function withRecords(config: TruckConfig | null, records: GatheredRecord[]): Gathered {
  const gathered = run(600, config);
  gathered.records = records;
  return gathered;
}

/** The truck with another chamber on its first drive axle. */
function withChamber(type: string, ratedIn: number | null): TruckConfig {
  const rated = ratedIn === null ? '' : `, ratedStroke: ${ratedIn} in`;
  return truckOf(LAYOUT.replace(/(kind: drive.*?chamber: )\{.*?\}/, `$1{type: ${type}${rated}}`));
}

describe('legal limits', () => {
  // 49 CFR 393.47(e): inches and printed millimetres, of which the looser counts; M rows are from memory.
  it.each(CHAMBERS)(
    'type %s, rated %s in: more than %s in (%s mm) is a violation',
    (type, rated, limitIn, mm, status) => {
      const limitMm = Math.max(Math.round(limitIn * 25_400) / 1000, mm);
      const config = withChamber(type, rated);
      const wheels = (strokeMm: number) => ({ [LEFT]: { code: null, strokeMm } });
      const light = { qualifying: false, peakKpa: 30 };
      // Full of harder ones: a lighter one stays only where a stroke in it was too long.
      const hard = Array.from({ length: MOST_APPLICATIONS }, (_, i) => pressed(i * 4));
      const over = Math.round((limitMm + 0.1) * 10) / 10;
      const records = [
        ...hard,
        pressed(20_000, { ...light, wheels: wheels(limitMm) }),
        pressed(20_010, { ...light, wheels: wheels(over) }),
      ];
      const section = brakeSection(withRecords(config, records))!;
      const wheel = section.wheels.find(({ subject }) => subject === LEFT)!;
      expect(wheel.limitMm).toBe(limitMm);
      expect(wheel.limitBasis).toContain('49 CFR 393.47(e)');
      expect(wheel.limitBasis!.includes('from memory')).toBe(status === 'M');
      expect(wheel.chamber).toContain(type);
      expect(section.applications.s.at(-1)).toBe(20_010);
      expect(wheel.strokeMm.filter((x) => x !== null)).toEqual([over]);
      expect(section.leftOut).toBe(2);
    },
  );

  it('are not made up where the chamber or the truck file is not known', () => {
    const told = { [LEFT]: { code: 2, strokeMm: 70 } };
    const bare = truckOf(LAYOUT.replace(/(kind: drive.*?), chamber: \{.*?\}/, '$1'));
    const end = (config: TruckConfig | null) =>
      brakeSection(withRecords(config, [pressed(0, { wheels: told })]))!.wheels.find((w) => w.subject === LEFT)!;
    expect(end(bare)).toMatchObject({ chamber: null, limitMm: null, limitBasis: null, strokeMm: [70] });
    expect(end(null)).toMatchObject({ chamber: null, limitMm: null, limitBasis: null, code: [2] });
  });
});

describe('columns', () => {
  it('are of one length, in the order of time, as the records have them', () => {
    const records = [
      pressed(10, { wheels: { [LEFT]: { code: 2, strokeMm: null }, [RIGHT]: { code: 0, strokeMm: 31.4 } } }),
      pressed(30.26, { peakKpa: null, meanKpa: null, from: 'switch', qualifying: false, airUsedKpa: null }),
    ];
    const section = brakeSection(withRecords(truckOf(), [records[1]!, records[0]!]))!;
    expect(section.applications).toEqual({
      s: [10, 30.3],
      durationS: [3, 3],
      peakKpa: [200, null],
      meanKpa: [150, null],
      startKmh: [40, 40],
      endKmh: [20, 20],
      airUsedKpa: [4, null],
      qualifying: [1, 0],
      from: ['pressure', 'switch'],
    });
    expect(section.wheels.find((w) => w.subject === LEFT)).toMatchObject({ code: [2, null], strokeMm: [null, null] });
    expect(section.wheels.find((w) => w.subject === RIGHT)).toMatchObject({ code: [0, null], strokeMm: [31.4, null] });
  });

  it('stand in layout order, and a wheel end that the layout does not have stands behind', () => {
    const wheels = {
      'trailer-2/1/left': { code: 0, strokeMm: null },
      [RIGHT]: { code: 0, strokeMm: null },
      [LEFT]: { code: 0, strokeMm: null },
    };
    const records = [pressed(0, { wheels })];
    const subjects = brakeSection(withRecords(truckOf(), records))!.wheels.map((w) => w.subject);
    expect(subjects).toEqual([
      ...['tractor/1', 'tractor/2', 'tractor/3', 'trailer/1', 'trailer/2'].flatMap((a) => [`${a}/left`, `${a}/right`]),
      'trailer-2/1/left',
    ]);
    const alone = brakeSection(withRecords(null, records))!;
    expect(alone.wheels.map((w) => w.subject)).toEqual([LEFT, RIGHT, 'trailer-2/1/left']);
    expect([alone.band, alone.qualifyingKpa]).toEqual([null, null]);
  });

  it('say where strokes are judged, from which pressure on one counts, and which alerts are of the wheel end', () => {
    const gathered = withRecords(truckOf(), [pressed(0, { wheels: { [LEFT]: { code: 2, strokeMm: null } } })]);
    gathered.events = [
      event('7', 'brake-overstroke', LEFT, [5, 'raised', 'plan']),
      event('7', 'brake-overstroke', LEFT, [9, 'worse', 'next-stop']),
      event('8', 'brake-dragging', RIGHT, [9, 'raised', 'next-stop']),
    ];
    const section = brakeSection(gathered)!;
    expect(section.band).toEqual({ lowKpa: 550, highKpa: 690 });
    expect(section.qualifyingKpa).toBe(140);
    expect(section.wheels.filter((w) => w.alerts.length > 0).map((w) => [w.subject, w.alerts])).toEqual([
      [LEFT, ['7']],
      [RIGHT, ['8']],
    ]);
  });

  it('are none where the brakes were not pressed, and no wheels where no wheel end told anything', () => {
    expect(brakeSection(run(10, truckOf()))).toBeNull();
    expect(brakeSection(withRecords(truckOf(), [pressed(0)]))!.wheels).toEqual([]);
  });
});

describe('of too many applications', () => {
  it('those with something wrong stay, then those that count, then the harder ones', () => {
    const n = MOST_APPLICATIONS + 500;
    const records = Array.from({ length: n }, (_, i) => {
      if (i % 1000 === 7)
        return pressed(i * 4, { peakKpa: 20, qualifying: false, wheels: { [LEFT]: { code: 3, strokeMm: null } } });
      return pressed(i * 4, { peakKpa: 60 + (i % 300), qualifying: i % 300 >= 80 });
    });
    const { applications, wheels, leftOut } = brakeSection(withRecords(truckOf(), records))!;
    expect(applications.s).toHaveLength(MOST_APPLICATIONS);
    expect(leftOut).toBe(500);
    expect(wheels.find((w) => w.subject === LEFT)!.code.filter((code) => code === 3)).toHaveLength(5);
    const counting = records.filter(({ record }) => (record.values as BrakeApplicationValues).qualifying).length;
    expect(applications.qualifying.filter((q) => q === 1)).toHaveLength(counting);
    const light = applications.peakKpa.filter((kpa, i) => applications.qualifying[i] === 0 && kpa! > 20) as number[];
    const all = records.map(({ record }) => (record.values as BrakeApplicationValues).peakKpa!);
    const least = Math.min(...light);
    // No lighter one was taken instead of a harder one.
    expect(all.filter((kpa) => kpa < 140 && kpa > least && kpa > 20).length).toBeLessThanOrEqual(light.length);
    expect([...applications.s].sort((a, b) => a - b)).toEqual(applications.s);
  });
});

describe('a driven shift', () => {
  it('has every application of its records, with what the monitors kept of each wheel end', async () => {
    const shift = cityShift(
      ['mode: key, until: "0:00:20"', 'mode: idle, until: "0:03:00", idleRpm: 1100', 'mode: city, until: "0:15:00"'],
      ['kind: brake-overstroke, wheelEnd: tractor/2/left, from: "0:06:00", to: "0:15:00", aboveKpa: 120, extraMm: 18'],
    );
    const { gathered, zeroMs } = await driveShift(shift);
    const kept = gathered.records.filter(({ record }) => record.kind === 'brake-application');
    const section = brakeSection(gathered)!;
    expect(kept.length).toBeGreaterThan(5);
    expect(section.applications.s).toEqual(kept.map(({ startMs }) => Math.round((startMs - zeroMs) / 100) / 10));
    const left = section.wheels.find((w) => w.subject === LEFT)!;
    const right = section.wheels.find((w) => w.subject === RIGHT)!;
    for (const [i, { record }] of kept.entries()) {
      const { wheels, peakKpa } = record.values as BrakeApplicationValues;
      expect([left.code[i], left.strokeMm[i], section.applications.peakKpa[i]]).toEqual([
        wheels[LEFT]?.code ?? null,
        wheels[LEFT]?.strokeMm ?? null,
        peakKpa,
      ]);
    }
    // The planted fault is seen on its side only, and only after it began.
    const wrong = left.code.flatMap((code, i) => (code === 2 ? [section.applications.s[i]!] : []));
    expect(wrong.length).toBeGreaterThan(2);
    expect(Math.min(...wrong)).toBeGreaterThanOrEqual(5 * 60);
    expect(right.code.every((code) => code === 0 || code === null)).toBe(true);
    expect(left.alerts.length).toBeGreaterThan(0);
  });
});
