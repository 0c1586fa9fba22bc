import { Drive, SUBJECTS, truck } from './drive.js';

export const LEFT = 'tractor/2/left';
export const RIGHT = 'tractor/2/right';

/** 49 CFR 393.47(e) as section 1.2 of the regulation sheet prints it: inches and the printed millimetres. M: from memory. */
export const CHAMBERS: [type: string, ratedIn: number | null, limitIn: number, printedMm: number, status: 'S' | 'M'][] =
  [
    ['6', null, 1.25, 31.8, 'M'],
    ['9', null, 1.375, 34.9, 'M'],
    ['12', null, 1.375, 34.9, 'S'],
    ['12', 2.25, 1.75, 44.5, 'S'],
    ['16', null, 1.75, 44.5, 'S'],
    ['16', 2.5, 2, 50.8, 'S'],
    ['20', null, 1.75, 44.5, 'S'],
    ['20', 2.5, 2, 50.8, 'S'],
    ['20', 3, 2.5, 63.5, 'M'],
    ['24', null, 1.75, 44.5, 'S'],
    ['24', 2.5, 2, 50.8, 'S'],
    ['24', 3, 2.5, 63.5, 'S'],
    ['30', null, 2, 50.8, 'S'],
    ['30', 3, 2.5, 63.5, 'S'],
    ['36', null, 2.25, 57.2, 'S'],
    ['DD3-30', null, 2.25, 57.2, 'M'],
    ['BOLT-A', null, 1.375, 34.9, 'M'],
    ['BOLT-B', null, 1.75, 44.5, 'M'],
    ['BOLT-C', null, 1.75, 44.5, 'M'],
    ['BOLT-D', null, 1.25, 31.8, 'M'],
    ['BOLT-E', null, 1.375, 34.9, 'M'],
    ['BOLT-F', null, 2.25, 57.2, 'M'],
    ['BOLT-G', null, 2, 50.8, 'M'],
    ['ROTO-9', null, 1.5, 38.1, 'M'],
    ['ROTO-12', null, 1.5, 38.1, 'M'],
    ['ROTO-16', null, 2, 50.8, 'M'],
    ['ROTO-20', null, 2, 50.8, 'M'],
    ['ROTO-24', null, 2, 50.8, 'M'],
    ['ROTO-30', null, 2.25, 57.2, 'M'],
    ['ROTO-36', null, 2.75, 69.9, 'M'],
    ['ROTO-50', null, 3, 76.2, 'M'],
  ];

/** Strokes of drive axle 1 in thousandths of a millimetre, from signals of the truck file; chamber of that axle. */
export function strokeTruck(chamber = '{type: 30, ratedStroke: 2.5 in}', ends: readonly string[] = [LEFT]) {
  const rows = ends.map(
    (subject, i) =>
      `{pgn: 65401, source: 33, byte: ${1 + 3 * i}, length: 24, scale: 0.001 mm, quantity: stroke, subject: ${subject}}`,
  );
  return truck(`signals: [${rows.join(', ')}]`, (yaml) =>
    yaml.replace(/(name: drive 1.*chamber: )\{.*?\}/, `$1${chamber}`),
  );
}

/** A moving truck whose strokes come ten times a second; tires are silent unless a test lets them speak. */
export class StrokeDrive extends Drive {
  /** mm, at rest and now; null: not told. */
  restMm: (number | null)[];
  strokes: (number | null)[];

  constructor(config = strokeTruck(), restMm: (number | null)[] = [5], zeroCalendarMs: number | null = null) {
    super(config, zeroCalendarMs);
    this.restMm = restMm;
    this.strokes = [...restMm];
    this.isFine = true;
    Object.assign(this.world, { pedal: null, brakeSwitch: null });
    for (const s of SUBJECTS) this.wheel(s).speaks = false;
  }

  /** Drives on with the strokes as they are. */
  go(seconds: number, each: (secondsIn: number) => void = () => {}): this {
    return this.run(seconds, (s) => {
      each(s);
      const bytes = new Uint8Array(8).fill(0xff);
      for (const [i, mm] of this.strokes.entries()) {
        if (mm === null) continue;
        const raw = Math.round(mm * 1000);
        bytes.set([raw & 0xff, (raw >> 8) & 0xff, raw >> 16], 3 * i);
      }
      this.send(65401, 33, bytes);
    });
  }

  /** One application with these strokes, then released for so long. */
  press(mm: number | (number | null)[], kpa = 600, pauseS = 4, seconds = 2): this {
    this.world.brakeKpa = kpa;
    this.strokes = typeof mm === 'number' ? [mm] : mm;
    this.go(seconds);
    this.world.brakeKpa = 0;
    this.strokes = [...this.restMm];
    return this.go(pauseS);
  }
}

/** SPN of BSA by wheel end (SPN 3785…: tractor axles left, right; 3795…: trailer). */
export const LEFT2 = 3787;
export const TRAILER = 3798;
export const TRAILER_END = 'trailer/2/right';

export const ALL_OK = Object.fromEntries(
  [3785, 3786, 3787, 3788, 3789, 3790, 3795, 3796, 3797, 3798].map((spn) => [spn, 0]),
);

/** A truck on the road whose brakes all say that they are well; neither pedal nor switch is told. */
export function driving(config = truck()): Drive {
  const d = new Drive(config);
  Object.assign(d.world, { pedal: null, brakeSwitch: null, strokes: { ...ALL_OK } });
  return d.run(5);
}

export interface How {
  kpa?: number | null;
  seconds?: number;
  pedal?: number | null;
  brakeSwitch?: number | null;
}

/** One application with these stroke codes during it, then 8 s released. */
export function apply(d: Drive, codes: Record<number, number>, how: How = {}): Drive {
  const { kpa = 300, seconds = 3, pedal = null, brakeSwitch = null } = how;
  const { strokes } = d.world;
  Object.assign(d.world, { brakeKpa: kpa, pedal, brakeSwitch, strokes: { ...ALL_OK, ...codes } });
  d.run(seconds);
  const no = (v: number | null | undefined) => (v === null ? null : 0);
  Object.assign(d.world, { brakeKpa: no(kpa), pedal: no(pedal), brakeSwitch: no(brakeSwitch), strokes });
  return d.run(8);
}
