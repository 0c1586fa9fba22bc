import { describe, expect, it } from 'vitest';
import { Drive, TARGET_KPA, truck } from './drive.js';

const TIRE = 'tractor/2/left/outer';
const TWIN = 'tractor/2/left/inner';
const PAIR = 'tractor/2/left/pair';
const LOW = 'tire-underinflated';
const MARK = { subject: TIRE, what: 'sensor-bad', who: 'workshop', untilMs: 4e12 };
const MINUTE = 60;

const listed = (d: Drive): string[] => d.open!.notJudged.map((m) => m.subject);
const sinceMs = (d: Drive, t: number): string[] =>
  d.events
    .filter((e) => e.t > t)
    .map((e) => `${e.change} ${e.rule} ${e.subject}${e.reason === null ? '' : ` (${e.reason})`}`);

/** One tire reads 70 % of its target: next-stop, and its pair is unequal. */
function wrong(): Drive {
  const d = new Drive();
  d.wheel(TIRE).kpa = 0.7 * TARGET_KPA;
  return d.run(15 * MINUTE);
}

describe('a marked tire sensor', () => {
  it('closes what was open of the tire and of its pair, at the next tick', () => {
    const d = wrong();
    const { t } = d;
    d.mark(TIRE).run(2);
    const closed = sinceMs(d, t - 1);
    expect(closed.sort()).toEqual([
      `closed duals-unequal ${PAIR} (marked-bad)`,
      `closed tire-underinflated ${TIRE} (marked-bad)`,
    ]);
    expect(d.open!.notJudged).toEqual([MARK]);
    expect(d.open!.alerts).toEqual([]);
  });

  it('that stays wrong is not judged for as long as it is', () => {
    const d = wrong();
    d.mark(TIRE).run(2);
    const { t } = d;
    d.run(60 * MINUTE);
    expect(sinceMs(d, t)).toEqual([]);
    expect(d.pipeline.state.marks[TIRE]).toMatchObject({ isOver: false, does: 'speak', isLearned: true });
  });

  it('that is set right, or replaced, is judged again after ten minutes, from nothing', () => {
    const d = wrong();
    d.mark(TIRE).run(15 * MINUTE);
    d.wheel(TIRE).kpa = TARGET_KPA;
    d.run(10 * MINUTE - 10);
    expect(listed(d)).toEqual([TIRE]);
    d.run(20);
    expect(listed(d)).toEqual([]);
    const { t } = d;
    d.wheel(TIRE).kpa = 0.75 * TARGET_KPA;
    d.run(20 * MINUTE);
    expect(sinceMs(d, t).filter((line) => line.includes(LOW))).toEqual([`raised ${LOW} ${TIRE}`]);
  });

  it.each([
    // A share of 70 % is learned; a tenth above it is 77 %, in steps of 4 kPa.
    ['a tenth above what it said', 0.76, true],
    ['more than a tenth above', 0.79, false],
    ['a tenth below', 0.64, true],
    ['more than a tenth below', 0.61, false],
  ])('%s (%d of its target) for half an hour: still marked %s', (_, share, isMarked) => {
    const d = wrong();
    d.mark(TIRE).run(12 * MINUTE);
    d.wheel(TIRE).kpa = share * TARGET_KPA;
    d.run(30 * MINUTE);
    expect(d.pipeline.state.marks[TIRE]!.isOver).toBe(!isMarked);
  });

  it('that says the old and the new in turn goes on as it was', () => {
    const d = wrong();
    d.mark(TIRE).run(12 * MINUTE);
    for (let k = 0; k < 5; k++) {
      d.wheel(TIRE).kpa = TARGET_KPA;
      d.run(8 * MINUTE);
      d.wheel(TIRE).kpa = 0.7 * TARGET_KPA;
      d.run(30);
    }
    expect(d.pipeline.state.marks[TIRE]!.isOver).toBe(false);
  });

  it('is judged again when the mark is taken away, and told at once', () => {
    const d = wrong();
    d.mark(TIRE).run(12 * MINUTE);
    d.mark().run(2);
    expect(listed(d)).toEqual([]);
    const { t } = d;
    d.run(15 * MINUTE);
    expect(sinceMs(d, t)).toContain(`raised ${LOW} ${TIRE}`);
  });

  it('without temperature has the room that a tire needs from cold to hot', () => {
    const d = wrong();
    d.wheel(TIRE).celsius = null;
    d.mark(TIRE).run(15 * MINUTE);
    d.wheel(TIRE).kpa = 0.7 * TARGET_KPA * 1.2;
    d.run(30 * MINUTE);
    expect(d.pipeline.state.marks[TIRE]!.isOver).toBe(false);
    d.wheel(TIRE).kpa = 0.7 * TARGET_KPA * 1.3;
    d.run(12 * MINUTE);
    expect(d.pipeline.state.marks[TIRE]!.isOver).toBe(true);
  });
});

describe('a marked sensor that says nothing', () => {
  const silent = (): Drive => {
    const d = new Drive();
    d.run(60);
    d.wheel(TIRE).speaks = false;
    return d.run(20 * MINUTE);
  };

  it('is not told as silent any more', () => {
    const d = silent();
    expect(d.of('tire-sensor-silent', TIRE)).toEqual(['raised plan']);
    d.mark(TIRE).run(60 * MINUTE);
    expect(d.list('tire-sensor-silent', TIRE).map((e) => e.reason)).toEqual([null, 'marked-bad']);
    expect(d.pipeline.state.marks[TIRE]).toMatchObject({ does: 'nothing', isOver: false });
  });

  it('and is replaced, also before the next drive, is judged again after ten minutes of readings', () => {
    const d = silent();
    d.world.kmh = 0;
    d.run(20).rest(300);
    expect(d.pipeline.isAsleep).toBe(true);
    d.mark(TIRE).rest(8 * 3600);
    expect(listed(d)).toEqual([TIRE]);
    expect(d.open!.alerts).toEqual([]);
    d.wheel(TIRE).speaks = true;
    d.wheel(TIRE).kpa = 0.75 * TARGET_KPA;
    d.world.kmh = 80;
    d.run(10 * MINUTE);
    expect(listed(d)).toEqual([TIRE]);
    d.run(20);
    expect(listed(d)).toEqual([]);
    d.run(10 * MINUTE);
    expect(d.of(LOW, TIRE)).toEqual(['raised next-stop']);
  });

  it('for three minutes, before any alert says so, was silent when it was marked', () => {
    const d = new Drive();
    d.run(60);
    d.wheel(TIRE).speaks = false;
    d.run(3 * MINUTE);
    expect(d.events).toEqual([]);
    d.mark(TIRE);
    expect(d.pipeline.state.marks[TIRE]!.does).toBe('nothing');
    d.wheel(TIRE).speaks = true;
    d.run(10 * MINUTE + 20);
    expect(listed(d)).toEqual([]);
  });

  it('stays marked when it speaks for nine minutes only', () => {
    const d = silent();
    d.mark(TIRE);
    for (let k = 0; k < 3; k++) {
      d.wheel(TIRE).speaks = true;
      d.run(9 * MINUTE);
      d.wheel(TIRE).speaks = false;
      d.run(10 * MINUTE);
    }
    expect(d.pipeline.state.marks[TIRE]!.isOver).toBe(false);
  });

  it('is known as silent after ten minutes on the road where nothing was known of it', () => {
    const d = new Drive();
    d.wheel(TIRE).speaks = false;
    d.mark(TIRE).run(9 * MINUTE);
    expect(d.pipeline.state.marks[TIRE]!.does).toBe('unknown');
    d.run(2 * MINUTE);
    expect(d.pipeline.state.marks[TIRE]!.does).toBe('nothing');
    d.wheel(TIRE).speaks = true;
    d.run(11 * MINUTE);
    expect(d.pipeline.state.marks[TIRE]!.isOver).toBe(true);
  });

  it('that spoke and then died is no changed sensor', () => {
    const d = wrong();
    d.mark(TIRE).run(12 * MINUTE);
    d.wheel(TIRE).speaks = false;
    d.run(60 * MINUTE);
    d.wheel(TIRE).speaks = true;
    d.run(20 * MINUTE);
    expect(d.pipeline.state.marks[TIRE]!.isOver).toBe(false);
  });
});

describe('what a marked tire is to the others', () => {
  it('no peer: with it there are three peers to compare with, without it there are two', () => {
    const hot = (isMarked: boolean): Drive => {
      const d = new Drive();
      // Four left outer and inner tires and so on: eight outer ones. All but four of them are silent.
      for (const s of [
        'tractor/2/right/outer',
        'tractor/3/right/outer',
        'trailer/1/right/outer',
        'trailer/2/right/outer',
      ])
        d.wheel(s).speaks = false;
      if (isMarked) d.mark(TIRE);
      for (const s of Object.keys(d.wheels)) d.wheel(s).celsius = 40;
      d.wheel('trailer/1/left/outer').celsius = 90;
      return d.run(8 * MINUTE);
    };
    expect(hot(false).of('tire-hot')).toEqual(['raised next-stop']);
    expect(hot(true).of('tire-hot')).toEqual([]);
  });

  it('its twin is judged by itself, and the pair not at all', () => {
    const d = new Drive();
    d.mark(TIRE).run(60);
    d.wheel(TWIN).kpa = 0.75 * TARGET_KPA;
    d.run(15 * MINUTE);
    expect(d.of(LOW, TWIN).length).toBeGreaterThan(0);
    expect(d.of('duals-unequal')).toEqual([]);
  });

  it('no heat: a brake that drags beside it is a next stop', () => {
    const dragging = (isMarked: boolean): Drive => {
      const d = new Drive();
      for (const s of Object.keys(d.wheels)) d.wheel(s).celsius = 40;
      d.wheel(TIRE).celsius = 125;
      if (isMarked) d.mark(TIRE);
      d.run(60);
      d.world.strokes = { 3787: 3 };
      return d.run(30);
    };
    expect(dragging(false).of('brake-dragging')).toEqual(['raised pull-over']);
    expect(dragging(true).of('brake-dragging')).toEqual(['raised next-stop']);
  });

  it('no share of its target: its readings are for the office only', () => {
    const d = new Drive();
    d.run(30);
    d.mark(TIRE).run(30);
    expect(d.pipeline.state.tires[TIRE]!.at).toBeGreaterThan(0);
    expect(d.pipeline.state.tires[TIRE]!.share).toBe(-1);
  });
});

describe('marks and the rest of the truck', () => {
  it('a mark on what the layout has not, or on what is no sensor, is ignored', () => {
    const d = wrong();
    const { t } = d;
    d.mark('tractor/9/left/outer', PAIR, 'layout', 'brakes', 'bus/main', 'fault/main/48/117/18').run(2);
    expect(sinceMs(d, t)).toEqual([]);
    expect(listed(d)).toEqual([]);
    expect(d.pipeline.state.marks).toEqual({});
  });

  it('of two on one sensor the one that ends last counts', () => {
    const d = new Drive();
    d.config = {
      ...truck(),
      marks: [
        { ...MARK, what: 'sensor-bad', untilMs: 5e12 },
        { ...MARK, what: 'sensor-bad' },
      ],
    };
    d.stepper.reload(0, d.config);
    d.run(2);
    expect(d.open!.notJudged).toEqual([{ ...MARK, untilMs: 5e12 }]);
  });

  it('marked anew for longer, it keeps what was learned; nothing is told twice', () => {
    const d = wrong();
    d.mark(TIRE).run(12 * MINUTE);
    const { t } = d;
    d.config = { ...d.config, marks: [{ ...MARK, what: 'sensor-bad', untilMs: 5e12 }] };
    d.stepper.reload(d.t, d.config);
    d.run(MINUTE);
    expect(sinceMs(d, t)).toEqual([]);
    expect(d.stepper.pipeline.state.marks[TIRE]).toMatchObject({ untilMs: 5e12, isLearned: true });
  });

  it('goes on over a restart, with what was learned', () => {
    const d = wrong();
    d.mark(TIRE).run(12 * MINUTE);
    d.restart(3600_000);
    d.run(20 * MINUTE);
    expect(d.list(LOW, TIRE).filter((e) => e.change === 'raised')).toHaveLength(1);
    d.wheel(TIRE).kpa = TARGET_KPA;
    d.run(11 * MINUTE);
    expect(listed(d)).toEqual([]);
  });

  it('a trip tells every mark that was in force in it, also one that is over', () => {
    const d = new Drive();
    d.run(10);
    d.mark(TIRE).run(60);
    d.mark(TWIN).run(60);
    d.mark().run(60);
    d.world.kmh = 0;
    d.run(20).rest(30);
    expect(d.trip).toMatchObject({ provisional: false, notJudged: [MARK, { ...MARK, subject: TWIN }] });
    d.world.kmh = 80;
    d.run(60);
    d.world.kmh = 0;
    d.run(20).rest(30);
    expect(d.trip).toMatchObject({ trip: 2, notJudged: [] });
  });
});

describe('a marked brake sensor', () => {
  const SPN = 3787;
  const END = 'tractor/2/left';
  const OK = Object.fromEntries([3785, 3786, 3787, 3788, 3789, 3790, 3795, 3796, 3797, 3798].map((spn) => [spn, 0]));

  const apply = (d: Drive, code: number, times: number): Drive => {
    for (let k = 0; k < times; k++) {
      Object.assign(d.world, { brakeKpa: 300, strokes: { ...OK, [SPN]: code } });
      d.run(3);
      Object.assign(d.world, { brakeKpa: 0, strokes: { ...OK } });
      d.run(8);
    }
    return d;
  };
  const driving = (): Drive => {
    const d = new Drive();
    Object.assign(d.world, { pedal: null, brakeSwitch: null, strokes: { ...OK } });
    return d.run(5);
  };

  it('that always says over-stroke: closed, not judged, and judged again after ten applications that say otherwise', () => {
    const d = apply(driving(), 2, 3);
    d.mark(END);
    apply(d, 2, 12);
    expect(d.list('brake-overstroke').map((e) => e.reason ?? e.change)).toEqual(['raised', 'worse', 'marked-bad']);
    apply(d, 0, 9);
    expect(listed(d)).toEqual([END]);
    apply(d, 0, 2);
    expect(listed(d)).toEqual([]);
    apply(d, 2, 2);
    expect(d.of('brake-overstroke').slice(3)).toEqual(['raised plan', 'worse next-stop']);
  });

  it('that says so now and then stays marked', () => {
    const d = apply(driving(), 2, 3);
    d.mark(END);
    apply(apply(d, 2, 3), 0, 3);
    apply(apply(d, 0, 12), 2, 12);
    expect(listed(d)).toEqual([END]);
  });

  it('that sent errors only is judged again after ten minutes of states', () => {
    const d = driving();
    d.world.strokes = { ...OK, [SPN]: 6 };
    d.mark(END).run(11 * MINUTE);
    expect(d.pipeline.state.marks[END]!.does).toBe('nothing');
    d.world.strokes = { ...OK };
    d.run(10 * MINUTE - 5);
    expect(listed(d)).toEqual([END]);
    d.run(10);
    expect(listed(d)).toEqual([]);
  });
});

describe('a marked air sensor', () => {
  const UNEQUAL = 'circuits-unequal';
  const AIR_LOW = 'air-low';
  const primary = (kpa: number): Drive => {
    const d = new Drive();
    d.run(30);
    d.world.primary = kpa;
    return d.run(120);
  };

  it('of one circuit: the circuits are not compared, and low air is judged by the other one alone', () => {
    const d = primary(300);
    expect([d.of(AIR_LOW), d.of(UNEQUAL)]).toEqual([['raised pull-over'], []]);
    d.mark('air/primary').run(300);
    expect(d.of(AIR_LOW)).toEqual(['raised pull-over', 'closed pull-over']);
    d.world.secondary = 400;
    d.run(20);
    expect(d.list(AIR_LOW).at(-1)).toMatchObject({
      change: 'raised',
      measured: { quantity: 'secondary circuit pressure' },
    });
    d.world.secondary = 800;
    d.run(20);
    expect(d.of(AIR_LOW).at(-1)).toBe('cleared pull-over');
    expect(d.of(UNEQUAL)).toEqual([]);
  });

  it('that falls silent misses nothing: low air can clear by the other one', () => {
    const d = primary(300);
    d.mark('air/primary').run(5);
    Object.assign(d.world, { primary: null, secondary: 400 });
    d.run(20);
    d.world.secondary = 800;
    d.run(120);
    expect(d.of(AIR_LOW)).toEqual(['raised pull-over', 'closed pull-over', 'raised pull-over', 'cleared pull-over']);
  });

  it('that is replaced is judged again: what it said was low, what it says is not', () => {
    const d = primary(300);
    d.mark('air/primary').run(12 * MINUTE);
    d.world.primary = 800;
    d.run(10 * MINUTE - 5);
    expect(listed(d)).toEqual(['air/primary']);
    d.run(10);
    expect(listed(d)).toEqual([]);
    d.world.primary = 400;
    d.run(70);
    expect(d.of(AIR_LOW).at(-1)).toBe('raised pull-over');
    expect(d.of(UNEQUAL)).toEqual([]);
  });

  it.each(['parking', 'supply'] as const)('of the %s circuit: it ends when what it says changes', (name) => {
    const d = new Drive();
    d.world[name] = 304;
    d.run(30);
    d.mark(`air/${name}`).run(11 * MINUTE);
    d.world[name] = 320;
    d.run(11 * MINUTE);
    expect(listed(d)).toEqual([`air/${name}`]);
    d.world[name] = 800;
    d.run(10 * MINUTE - 5);
    expect(listed(d)).toEqual([`air/${name}`]);
    d.run(10);
    expect(listed(d)).toEqual([]);
  });

  it('of both circuits: nothing of the service air is judged', () => {
    const d = primary(300);
    d.mark('air/service').run(300);
    expect(d.of(AIR_LOW)).toEqual(['raised pull-over', 'closed pull-over']);
  });
});
