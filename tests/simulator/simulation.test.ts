import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { CandumpText } from '../../simulator/candump-text.js';
import { candumpLine } from '../../simulator/encode.js';
import { type FaultName, hardCase, randomScenario, Simulation } from '../../simulator/index.js';
import { framesOf, pgnOf, type Seen, shift } from './support.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-simulation-'));
afterAll(() => rmSync(folder, { recursive: true }));

const TIRE1 = 65268;
const TIRE2 = 64578;
const hash = (frames: Seen[]) => createHash('sha256').update(JSON.stringify(frames)).digest('hex');

describe('the same shift again', { timeout: 120_000 }, () => {
  it.each([100, 7_777, 61_000, 1_000_000])('in pieces of %i ms', (piece) => {
    const scenario = hardCase('trailer-swapped', 5);
    expect(hash(framesOf(scenario, { piece }))).toBe(hash(framesOf(scenario)));
  });

  it('another seed gives another shift', () => {
    expect(hash(framesOf(shift(1)))).not.toBe(hash(framesOf(shift(2))));
  });
});

describe('time', { timeout: 120_000 }, () => {
  // What puts frames onto the bus in a way of its own.
  const names: FaultName[] = [
    'strange-locations',
    'bus-errors',
    'bus-silent',
    'code-red',
    'tire-burst-silent',
    'trailer-not-seen',
  ];
  const cases = ['trailer-swapped', 'empty-tanks', 'gateway-off-overnight', 'no-speed-from-the-engine'] as const;
  it.each([...names.map((name) => ['fault', name] as const), ...cases.map((name) => ['case', name] as const)])(
    'never goes back nor past the end: %s %s',
    (kind, name) => {
      const scenario =
        kind === 'fault' ? randomScenario(3, { faults: [name as FaultName] }) : hardCase(name as never, 3);
      const simulation = new Simulation(scenario, { thin: true });
      let before = 0;
      let wrong = 0;
      let count = 0;
      simulation.advance(simulation.endMs, (t) => {
        // Stamps are whole milliseconds, of the moment and not of long ago.
        if (t < before || t < simulation.t - 100 || !Number.isInteger(t)) wrong += 1;
        before = t;
        count += 1;
      });
      expect(wrong).toBe(0);
      expect(count).toBeGreaterThan(10_000);
      expect(before).toBeLessThan(scenario.durationS * 1000);
    },
  );

  it('a night is one jump: no frame with the key off, all of the hours of it', () => {
    const scenario = hardCase('gateway-off-overnight', 4);
    const frames = framesOf(scenario);
    const gaps = frames.slice(1).map(({ t }, i) => t - frames[i]!.t);
    const long = gaps.filter((gap) => gap > 3_600_000);
    expect(long).toHaveLength(2);
    for (const gap of long) expect(gap).toBeGreaterThan(20 * 3_600_000);
  });
});

describe('tire sensors', { timeout: 120_000 }, () => {
  const tires = (frames: Seen[], pgn: number) => frames.filter(({ id }) => pgnOf(id) === pgn);

  it('on their own: every 10 s with jitter, about one in twenty lost', () => {
    const scenario = shift(11, (file) => {
      file.sensors = { sending: 'single', message: 'TIRE1', wakesOnLeak: false };
    });
    const mine = tires(framesOf(scenario), TIRE1).filter(({ data, t }) => data[0] === 0x10 && t > 60_000);
    const gaps = mine.slice(1).map(({ t }, i) => (t - mine[i]!.t) / 1000);
    const single = gaps.filter((gap) => gap < 15);
    for (const gap of single) expect(Math.abs(gap - 10)).toBeLessThan(0.5);
    const mean = single.reduce((sum, gap) => sum + gap, 0) / single.length;
    expect(Math.abs(mean - 10)).toBeLessThan(0.1);
    const spread = Math.sqrt(single.reduce((sum, gap) => sum + (gap - mean) ** 2, 0) / single.length);
    expect(spread).toBeGreaterThan(0.1);
    const all = tires(framesOf(scenario), TIRE1).length;
    // 18 tires: 6,450 chances, standard error 0.27 %.
    expect(1 - all / ((18 * scenario.durationS) / 10)).toBeGreaterThan(0.03);
    expect(1 - all / ((18 * scenario.durationS) / 10)).toBeLessThan(0.07);
  });

  it('report at once when they see a fall, and often for a while', () => {
    const scenario = shift(12, (file) => {
      file.sensors = { sending: 'single', message: 'TIRE1', loss: 0 };
      const phases = [{ from: '0:30:00', kpaPerMin: 60 }];
      file.faults = [{ kind: 'tire-leak', tire: 'tractor/2/left/outer', phases, to: '0:32:00' }];
    });
    const frames = tires(framesOf(scenario), TIRE1);
    const within = (location: number) =>
      frames.filter(({ data, t }) => data[0] === location && t > 1_800_000 && t < 1_920_000).length;
    expect(within(0x10)).toBeGreaterThan(40);
    expect(within(0x13)).toBeLessThan(15);
  });

  it('sleep at a stand: one report in two minutes', () => {
    const scenario = shift(13, (file) => {
      file.sensors = { sending: 'single', message: 'TIRE1', sleepAfterMin: 5, loss: 0 };
      file.drive = [{ mode: 'idle', until: '0:40:00' }];
    });
    const late = tires(framesOf(scenario), TIRE1).filter(({ t }) => t > 600_000);
    expect(late.length / 18).toBeGreaterThan(14);
    expect(late.length / 18).toBeLessThan(17);
  });

  it('round as the messages do: 4 kPa in TIRE1, 1 kPa in TIRE2, which says so in TIRE1', () => {
    const scenario = shift(14, (file) => {
      file.sensors = { sending: 'sets', message: 'TIRE2', noiseKpa: 0, loss: 0 };
      file.drive = [{ mode: 'idle', until: '0:02:00' }];
    });
    const frames = framesOf(scenario);
    const first = tires(frames, TIRE1);
    // SPN 6990 = 1, and no pressure here.
    expect(first.every(({ data }) => data[4]! >> 6 === 1 && data[1] === 255)).toBe(true);
    const truck = new Simulation(scenario, { thin: true }).truck;
    for (const { data } of tires(frames, TIRE2)) {
      const place = truck.subjects.tires.findIndex(({ location }) => location === data[0]);
      const kpa = data[1]! + 256 * data[2]!;
      expect(Math.abs(kpa - truck.samples[place]!.kpa)).toBeLessThan(2);
      expect(data[3]! + 256 * data[4]!).toBe(Math.round(truck.wheels.tires[place]!.targetKpa));
    }
  });

  it('read through the old place after they were swapped', () => {
    const scenario = shift(15, (file) => {
      file.sensors = { sending: 'single', message: 'TIRE1', loss: 0 };
      file.events = [
        { kind: 'sensors-swapped', at: '0:00:05', tires: ['tractor/2/left/outer', 'tractor/2/right/outer'] },
      ];
      file.faults = [
        {
          kind: 'tire-leak',
          tire: 'tractor/2/right/outer',
          phases: [{ from: '0:20:00', kpaPerMin: 30 }],
          to: '0:30:00',
        },
      ];
    });
    const frames = tires(framesOf(scenario), TIRE1).filter(({ t }) => t > 1_900_000 && t < 2_400_000);
    const mean = (location: number) => {
      const mine = frames.filter(({ data }) => data[0] === location);
      return mine.reduce((sum, { data }) => sum + 4 * data[1]!, 0) / mine.length;
    };
    expect(mean(0x10)).toBeLessThan(500);
    expect(mean(0x13)).toBeGreaterThan(600);
  });
});

describe('thin', { timeout: 120_000 }, () => {
  it('leaves no group out that a rule needs, and sends none more often than the full bus', () => {
    const scenario = shift(16);
    const count = (thin: boolean) => {
      const counts = new Map<number, number>();
      for (const { id } of framesOf(scenario, { thin })) counts.set(pgnOf(id), (counts.get(pgnOf(id)) ?? 0) + 1);
      return counts;
    };
    const [full, thin] = [count(false), count(true)];
    for (const [pgn, n] of thin) expect(n, String(pgn)).toBeLessThanOrEqual(full.get(pgn)! * 1.02);
    for (const pgn of [61444, 65265, 61441, 65274, 64881, 65198, 65269])
      expect(thin.get(pgn)! / scenario.durationS).toBeCloseTo(1, 1);
  });
});

const missing = spawnSync('which', ['tshark']).status !== 0;
const required = process.env.CI === 'true';
if (missing && !required) console.warn('skipped: tshark not installed; CI needs it');

describe('as text', () => {
  const scenario = shift(17, (file) => {
    file.drive = [{ mode: 'idle', until: '0:03:00' }];
    file.brakes = { measured: true };
    file.also = ['HRW', 'EBC3', 'EBC4', 'EBC5', 'B2', 'TCO1'];
    file.faults = [
      { kind: 'bus-errors', busOff: true, perSecond: 5, from: '0:01:00', to: '0:02:00' },
      { kind: 'strange-locations', locations: [0x90], from: '0:00:30', to: '0:03:00' },
    ];
  });
  const text = new CandumpText(scenario);
  const simulation = new Simulation(scenario, { thin: false });
  const lines: string[] = [];
  const startS = Date.parse(scenario.start) / 1000;
  simulation.advance(simulation.endMs, (t, id, data) => {
    text.frame(t, id, data);
    lines.push(candumpLine(startS, 'can0', { t, id, data }));
  });
  const whole = text.take().toString('latin1');

  it('is the same written fast and written simply', () => {
    expect(lines.length).toBeGreaterThan(10_000);
    expect(whole).toBe(`${lines.join('\n')}\n`);
  });

  it.skipIf(missing && !required)(
    'is read by tshark: identifiers, source addresses and groups',
    () => {
      const path = join(folder, 'shift.log');
      writeFileSync(path, whole);
      const fields = ['can.id', 'can.flags.err', 'j1939.pgn', 'j1939.src_addr'].flatMap((name) => ['-e', name]);
      const out = execFileSync('tshark', ['-r', path, '-d', 'can.subdissector,j1939', '-T', 'fields', ...fields], {
        encoding: 'utf8',
        stdio: ['ignore', 'pipe', 'ignore'],
        maxBuffer: 1 << 26,
      });
      const rows = out
        .trimEnd()
        .split('\n')
        .map((line) => line.split('\t').map(Number));
      expect(rows).toHaveLength(lines.length);
      const ids = lines.map((line) => Number.parseInt(/([0-9A-F]{8})#/.exec(line)![1]!, 16));
      ids.forEach((id, i) => {
        if (id >= 0x20000000) return;
        const pdu1 = ((id >>> 16) & 255) < 240;
        expect(rows[i]!.slice(2)).toEqual([pdu1 ? pgnOf(id) & 0x3ff00 : pgnOf(id), id & 255]);
      });
      expect(ids.filter((id) => id >= 0x20000000).length).toBeGreaterThan(250);
    },
    60_000,
  );
});
