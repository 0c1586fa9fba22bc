import { listSubjects, type Tire } from '../../daemon/truck/subjects.js';
import type { Random } from '../random.js';
import { type ScenarioFile, scenarioOf } from '../scenario.js';
import { type Cycle, clockOf, one, secondsOf, type TruckName } from './pieces.js';

/** A shift in the making, and when its fault is due. */
export interface Kitchen {
  file: ScenarioFile;
  random: Random;
  fromS: number;
  from: string;
  to: string;
  endS: number;
}

/** What one fault needs to show itself, and how it gets into the shift. */
export interface Menu {
  cycle?: Cycle;
  hours?: number;
  days?: number;
  truck?: TruckName;
  serve(kitchen: Kitchen): void;
}

type FileFault = NonNullable<ScenarioFile['faults']>[number];

const subjectsOf = (file: ScenarioFile) =>
  listSubjects(scenarioOf({ ...file, faults: [], drive: [{ mode: 'key', until: '0:00:01' }] }).truck.units);

function tireOf({ file, random }: Kitchen, fits: (tire: Tire) => boolean = () => true): string {
  return one(random, subjectsOf(file).tires.filter(fits)).subject;
}

function wheelEndOf({ file, random }: Kitchen): string {
  return one(random, subjectsOf(file).wheelEnds).subject;
}

function add({ file }: Kitchen, ...faults: FileFault[]): void {
  file.faults = [...(file.faults ?? []), ...faults];
}

const during = ({ from, to }: Kitchen) => ({ from, to });

/** A leak of that rate that lasts until so much is lost, as a nail sits: the hole does not care for the time of day. */
function leak(least: number, most: number, lostKpa: number): Menu {
  return {
    cycle: 'mixed',
    serve(kitchen) {
      const kpaPerMin = kitchen.random.between(least, most);
      const endS = Math.min(kitchen.endS, kitchen.fromS + (60 * lostKpa) / kpaPerMin);
      add(kitchen, {
        kind: 'tire-leak',
        tire: tireOf(kitchen),
        phases: [{ from: kitchen.from, kpaPerMin }],
        to: clockOf(endS),
      });
    },
  };
}

/** A tire that was never filled right. */
function filled(least: number, most: number, fits?: (tire: Tire) => boolean): Menu {
  return {
    serve(kitchen) {
      const { file, random } = kitchen;
      file.tires = { ...file.tires, filledAtC: 18, each: { [tireOf(kitchen, fits)]: random.between(least, most) } };
    },
  };
}

const onTire = (kind: 'sensor-silent' | 'sensor-stuck' | 'tire-burst', more: object = {}): Menu => ({
  cycle: 'mixed',
  serve: (kitchen) => add(kitchen, { kind, tire: tireOf(kitchen), ...more, ...during(kitchen) } as FileFault),
});

const saying = (says: 'electrical' | 'error' | 'impossible' | 'nothing' | 'idle'): Menu => ({
  cycle: 'mixed',
  serve: (kitchen) => add(kitchen, { kind: 'sensor-error', tire: tireOf(kitchen), says, ...during(kitchen) }),
});

const onBrake = (more: { kind: string } & Record<string, unknown>, change?: (file: ScenarioFile) => void): Menu => ({
  cycle: 'city',
  serve(kitchen) {
    change?.(kitchen.file);
    add(kitchen, { wheelEnd: wheelEndOf(kitchen), ...more, ...during(kitchen) } as FileFault);
  },
});

const lining = (percent: number): Menu => ({
  cycle: 'city',
  serve(kitchen) {
    kitchen.file.also = ['EBC4'];
    // The message knows four axles; every truck has the first two.
    const wheelEnd = one(kitchen.random, ['tractor/1/left', 'tractor/1/right', 'tractor/2/left', 'tractor/2/right']);
    add(kitchen, { kind: 'brake-lining', wheelEnd, percent, ...during(kitchen) });
  },
});

const measured = (file: ScenarioFile): void => {
  file.brakes = { measured: true };
  file.driver = 'brisk';
};

const plain = (fault: { kind: string } & Record<string, unknown>, more: Partial<Menu> = {}): Menu => ({
  cycle: 'mixed',
  ...more,
  serve: (kitchen) => add(kitchen, { ...fault, ...during(kitchen) } as FileFault),
});

/**
 * Leak tests as drivers make them, before the road: engine off for a quarter of an hour; or three times the brakes held, with
 * the tanks filled again between.
 */
function tested(rates: [primary: number, secondary: number], applied: boolean): Menu {
  return {
    serve(kitchen) {
      const { file } = kitchen;
      const later = file.drive.filter(({ until }) => secondsOf(until) > TESTED_S);
      const legs: ScenarioFile['drive'] = [
        { mode: 'key', until: '0:00:20' },
        { ...CHARGE, until: '0:10:20' },
      ];
      if (!applied) legs.push({ mode: 'key', until: '0:30:20' });
      for (let t = 620; applied && t < 1700; t += 500) {
        legs.push({ mode: 'key', until: clockOf(t + 190), holdKpa: 640 }, { ...CHARGE, until: clockOf(t + 500) });
      }
      file.drive = [...legs, { ...CHARGE, until: clockOf(TESTED_S) }, ...later];
      const [primaryKpaPerMin, secondaryKpaPerMin] = rates;
      const air = { supplyKpaPerMin: 0, primaryKpaPerMin, secondaryKpaPerMin, applied };
      file.air = { ...file.air, cutInKpa: 780, cutOutKpa: 890, primaryKpa: 650, secondaryKpa: 650 };
      add(kitchen, { kind: 'air-leak', from: '0:10:20', to: kitchen.to, ...air });
    },
  };
}

const CHARGE = { mode: 'idle', idleRpm: 1200 } as const;
const TESTED_S = 2400;

const codes = (spn: number, fmi: number, lamp: 'amber' | 'red', source = 48): Menu =>
  plain({ kind: 'fault-codes', source, lamp, codes: [{ spn, fmi, count: 1 }] });

const dual = ({ position }: Tire): boolean => position !== 'single';

/** Every single fault that a quality run asks for, by name. Severities are drawn; what they really did is in the truth. */
const MENUS = {
  'tire-leak-slow': {
    ...{ cycle: 'city' as const, hours: 1, days: 6 },
    serve: (kitchen: Kitchen) =>
      add(kitchen, {
        kind: 'tire-leak',
        tire: tireOf(kitchen),
        phases: [{ from: '1:00:00', kpaPerDay: kitchen.random.between(8, 20) }],
        to: kitchen.to,
      }),
  },
  'tire-leak-steady': leak(3.5, 10, 200),
  'tire-leak-rapid': leak(20, 60, 400),
  'tire-loss-20-percent': leak(6, 7, 172),
  'tire-burst': onTire('tire-burst'),
  'tire-burst-silent': onTire('tire-burst', { sensorDies: true }),
  'tire-low': filled(0.83, 0.86),
  'tire-very-low': filled(0.6, 0.75),
  'tire-flat': filled(0.3, 0.46),
  'tire-over': {
    serve(kitchen: Kitchen) {
      filled(1.33, 1.4).serve(kitchen);
      // TIRE1 ends at 1,000 kPa.
      kitchen.file.sensors = { ...kitchen.file.sensors, message: 'TIRE2' };
    },
  },
  'duals-apart': filled(0.9, 0.915, dual),
  'sensor-dead': onTire('sensor-silent'),
  'sensor-stuck': onTire('sensor-stuck'),
  'sensor-drifts': {
    cycle: 'mixed',
    serve: (kitchen: Kitchen) =>
      add(kitchen, { kind: 'sensor-drift', tire: tireOf(kitchen), kpaPerHour: -30, ...during(kitchen) }),
  },
  'sensor-electrical': saying('electrical'),
  'sensor-error': saying('error'),
  'sensor-impossible': saying('impossible'),
  'sensor-says-nothing': saying('nothing'),
  'sensor-idle': saying('idle'),
  'brake-overstroke': onBrake({ kind: 'brake-overstroke', aboveKpa: 90 }),
  'brake-overstroke-measured': onBrake({ kind: 'brake-overstroke', aboveKpa: 90, extraMm: 20 }, measured),
  'brake-dragging': onBrake({ kind: 'brake-dragging', heatKw: 12 }),
  'brake-dragging-hot': onBrake({ kind: 'brake-dragging', heatKw: 18 }),
  'brake-not-applying': onBrake({ kind: 'brake-not-applying' }),
  'brake-not-applying-measured': onBrake({ kind: 'brake-not-applying' }, measured),
  'brake-uneven': onBrake({ kind: 'brake-uneven', extraMm: 16 }, measured),
  'brake-growing': {
    ...onBrake({ kind: 'brake-growing', mmPerHour: 0.07 }, measured),
    ...{ hours: 4, days: 8 },
  },
  'brake-sensor': onBrake({ kind: 'brake-sensor' }),
  'brake-lining-low': lining(14),
  'brake-lining-gone': lining(6),
  'brake-hot': {
    cycle: 'city',
    serve(kitchen: Kitchen) {
      kitchen.file.also = ['EBC5'];
      add(kitchen, { kind: 'brake-hot', ...during(kitchen) });
    },
  },
  'brakes-two-defective': {
    ...{ cycle: 'city' as const, truck: 'combination' as const },
    serve(kitchen: Kitchen) {
      for (const wheelEnd of ['tractor/2/left', 'trailer/1/right'])
        add(kitchen, { kind: 'brake-overstroke', wheelEnd, aboveKpa: 90, ...during(kitchen) });
    },
  },
  'air-leak-released': tested([55, 50], false),
  'air-leak-applied': tested([56, 50], true),
  'air-lost': plain({ kind: 'air-leak', supplyKpaPerMin: 1600, primaryKpaPerMin: 130, secondaryKpaPerMin: 122 }),
  'air-lost-one-circuit': plain({
    ...{ kind: 'air-leak', supplyKpaPerMin: 2200 },
    ...{ primaryKpaPerMin: 220, secondaryKpaPerMin: 0 },
  }),
  'air-builds-slowly': {
    ...{ truck: 'straight' as const, cycle: 'yard' as const, hours: 1, days: 4 },
    serve(kitchen: Kitchen) {
      kitchen.file.air = { ...kitchen.file.air, primaryKpa: 300, secondaryKpa: 300, compressor: 1 };
      kitchen.file.drive = kitchen.file.drive.map((leg) => (leg.idleRpm ? { ...leg, idleRpm: 1150 } : leg));
      add(kitchen, { kind: 'compressor-weak', share: 0.5, from: '0:00:00', to: kitchen.to });
    },
  },
  'air-cut-in-low': {
    ...{ cycle: 'highway' as const, hours: 4, truck: 'combination' as const },
    serve(kitchen: Kitchen) {
      add(kitchen, { kind: 'governor', cutInKpa: 570, cutOutKpa: 820, ...during(kitchen) });
      // So that it pumps often, and not only while the brakes draw air.
      const none = { primaryKpaPerMin: 0, secondaryKpaPerMin: 0 };
      add(kitchen, { kind: 'air-leak', supplyKpaPerMin: 150, ...none, ...during(kitchen) });
    },
  },
  'air-cut-out-high': plain({ kind: 'governor', cutInKpa: 820, cutOutKpa: 1000 }, { cycle: 'city', hours: 4 }),
  'air-cut-out-far': plain({ kind: 'governor', cutInKpa: 850, cutOutKpa: 1080 }, { cycle: 'city', hours: 3 }),
  'compressor-overworked': plain(
    { kind: 'air-leak', supplyKpaPerMin: 500, primaryKpaPerMin: 0, secondaryKpaPerMin: 0 },
    { cycle: 'city', hours: 3, truck: 'combination' },
  ),
  'circuit-blocked': plain({ kind: 'circuit-blocked', circuit: 'secondary' }, { cycle: 'city' }),
  'code-amber': codes(117, 18, 'amber'),
  'code-severe': codes(118, 1, 'amber'),
  'code-red': codes(117, 1, 'red'),
  'stop-lamp': plain({ kind: 'fault-codes', source: 0, lamp: 'red', codes: [] }),
  'bus-silent': {
    cycle: 'highway',
    serve: (kitchen: Kitchen) =>
      add(kitchen, { kind: 'bus-silent', from: kitchen.from, to: clockOf(kitchen.fromS + 240) }),
  },
  'bus-off': plain({ kind: 'bus-errors', busOff: true, perSecond: 0 }),
  'bus-errors': plain({ kind: 'bus-errors', perSecond: 40 }),
  'tire-source-silent': plain({ kind: 'source-silent', source: 51 }),
  'brake-source-silent': plain({ kind: 'source-silent', source: 11 }),
  'air-source-silent': plain({ kind: 'source-silent', source: 48 }),
  'strange-locations': plain({ kind: 'strange-locations', locations: [0x90, 0x91] }),
  'trailer-not-seen': {
    ...{ cycle: 'highway' as const, truck: 'combination' as const },
    serve({ file, from }: Kitchen) {
      file.events = [...(file.events ?? []), { kind: 'trailer-drop', at: from }];
    },
  },
} satisfies Record<string, Menu>;

export type FaultName = keyof typeof MENUS;
export const FAULTS: Readonly<Record<FaultName, Menu>> = MENUS;
