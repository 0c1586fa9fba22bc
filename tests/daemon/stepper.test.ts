import { describe, expect, it } from 'vitest';
import type { TickEffects } from '../../daemon/effects.js';
import type { Pipeline } from '../../daemon/pipeline.js';
import { Stepper } from '../../daemon/stepper.js';
import { drive } from '../support/drive.js';
import { Rig } from '../support/rig.js';

const NONE = new Uint8Array(8);

/** A pipeline that only writes down what it is asked, and sleeps when told. */
function watched(name = 'p') {
  const seen: string[] = [];
  const pipeline = {
    isAsleep: false,
    wakesAt: Number.POSITIVE_INFINITY,
    frame: (t: number) => void seen.push(`frame ${t}`),
    errorFrame: (t: number) => void seen.push(`error ${t}`),
    seam: (t: number) => void seen.push(`seam ${t}`),
    tick: (t: number): TickEffects | null => {
      seen.push(`tick ${t}`);
      return null;
    },
    answer: (t: number) => void seen.push(`answer ${t}`),
    clock: (t: number) => void seen.push(`clock ${t}`),
    reload: (t: number) => {
      seen.push(`reload ${t}`);
      return pipeline as unknown as Pipeline;
    },
    name,
  };
  return { seen, pipeline, stepper: (from = 0) => new Stepper(pipeline as unknown as Pipeline, () => {}, from) };
}

describe('ticks between frames (design.md, "Ticks")', () => {
  it('are t = 1000, 2000, …; a frame with t ≥ k·1000 comes after tick k', () => {
    const { seen, stepper } = watched();
    const s = stepper();
    for (const t of [0, 999, 1000, 1000, 2999, 3000, 5001]) s.frame(t, 0, 0, NONE, 8);
    s.errorFrame(6000, 0, 0, NONE, 8);
    s.advance(7000);
    expect(seen).toEqual([
      ...['frame 0', 'frame 999', 'tick 1000', 'frame 1000', 'frame 1000', 'tick 2000', 'frame 2999'],
      ...['tick 3000', 'frame 3000', 'tick 4000', 'tick 5000', 'frame 5001', 'tick 6000', 'error 6000', 'tick 7000'],
    ]);
    expect(s.lastTick).toBe(7000);
  });

  it('go on after the time up to which they are done', () => {
    for (const [from, next] of [
      [0, 1000],
      [999, 1000],
      [1000, 2000],
      [1001, 2000],
    ] as const) {
      const { seen, stepper } = watched();
      stepper(from).advance(next);
      expect(seen).toEqual([`tick ${next}`]);
    }
  });

  it('are skipped in one step while the pipeline is asleep', () => {
    const { seen, pipeline, stepper } = watched();
    const s = stepper();
    pipeline.isAsleep = true;
    s.advance(86_400_500);
    s.frame(86_400_700, 0, 0, NONE, 8);
    pipeline.isAsleep = false;
    s.frame(86_401_000, 0, 0, NONE, 8);
    expect(seen).toEqual(['frame 86400700', 'tick 86401000', 'frame 86401000']);
  });

  it('come before a seam of the same instant', () => {
    const { seen, stepper } = watched();
    stepper().seam(2000);
    expect(seen).toEqual(['tick 1000', 'tick 2000', 'seam 2000']);
  });

  it('come after a reload of the same instant', () => {
    const { seen, stepper } = watched();
    const s = stepper();
    s.reload(2000, new Rig().config);
    s.frame(2000, 0, 0, NONE, 8);
    expect(seen).toEqual(['tick 1000', 'reload 2000', 'tick 2000', 'frame 2000']);
  });

  it('come after every rare input of the same instant', () => {
    const { seen, stepper } = watched();
    const s = stepper();
    s.rare({ t: 2000, kind: 'answer', answer: { trailer: null, decisions: [] } });
    s.rare({ t: 2000, kind: 'reload', config: new Rig().config });
    s.rare({ t: 2000, kind: 'clock', zeroCalendarMs: 0 });
    s.frame(2000, 0, 0, NONE, 8);
    expect(seen).toEqual(['tick 1000', 'answer 2000', 'reload 2000', 'clock 2000', 'tick 2000', 'frame 2000']);
  });

  it('run once where a sleeping pipeline has something to tell, also between two of them', () => {
    const { seen, pipeline, stepper } = watched();
    const s = stepper();
    pipeline.isAsleep = true;
    pipeline.wakesAt = 500_400;
    s.advance(400_000);
    expect([seen, s.lastTick]).toEqual([[], 400_000]);
    pipeline.tick = (t: number) => {
      seen.push(`tick ${t}`);
      pipeline.wakesAt = Number.POSITIVE_INFINITY;
      return null;
    };
    s.advance(600_700);
    expect([seen, s.lastTick]).toEqual([['tick 501000'], 600_000]);
  });
});

describe('who looks on', () => {
  it('hears of each tick that was decided, after its effects, and with the pipeline in force; not of ticks slept through', () => {
    const { seen, pipeline } = watched('before');
    const other = watched('after').pipeline;
    const told: string[] = [];
    pipeline.tick = (t: number) => ({ t }) as TickEffects;
    pipeline.reload = () => {
      Object.assign(other, { tick: () => null });
      return other as unknown as Pipeline;
    };
    const s = new Stepper(
      pipeline as unknown as Pipeline,
      ({ t }) => told.push(`effects ${t}`),
      0,
      (t, p, effects) => told.push(`tick ${t} ${(p as unknown as typeof pipeline).name} ${effects?.t ?? 'nothing'}`),
    );
    s.advance(1000);
    s.reload(2000, new Rig().config);
    s.advance(3000);
    other.isAsleep = true;
    s.advance(60_000);
    expect(told).toEqual([
      'effects 1000',
      'tick 1000 before 1000',
      'tick 2000 after nothing',
      'tick 3000 after nothing',
    ]);
    expect(seen).toEqual([]);
  });
});

describe('a truck that is left alone', () => {
  const lifeOf = (rig: Rig) => rig.effects.flatMap((e) => (e.life === null ? [] : [`${e.t / 1000} ${e.life}`]));
  const standing = () => ({ kmh: 0, rpm: 600, parkingBrake: true });

  it('is parked after 10 s and asleep 60 s later; a day of sleep changes nothing at all', () => {
    const rig = new Rig().feed(drive(0, 100, standing)).advance(200_000);
    expect(lifeOf(rig)).toEqual(['110 parked', '170 asleep']);
    const before = structuredClone(rig.pipeline.state);
    const effects = rig.effects.length;
    rig.advance(86_400_000);
    expect(rig.effects).toHaveLength(effects);
    expect(rig.pipeline.state).toEqual(before);
  });

  it('that went silent on the road is blind, and falls asleep 15 min later', () => {
    const rig = new Rig().feed(drive(0, 100, () => ({}))).advance(86_400_000);
    expect(lifeOf(rig)).toEqual(['110 blind', '1010 asleep']);
    expect(rig.of('bus-silent')).toEqual([['raised', 'plan']]);
    expect(rig.events[0]!.t).toBe(110_000);
  });

  it('is awake at the tick after the first frame', () => {
    const rig = new Rig().feed(drive(0, 100, standing)).advance(5_000_000);
    rig.feed(drive(5_003, 5_010, standing));
    expect(lifeOf(rig).at(-1)).toBe('5004 awake');
  });
});
