import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import type { Gathered } from '../../../report/gathered.js';
import { TIRE_PICTURES } from '../../../report/story/tire-pictures.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, event, run, sample, text, ZERO_MS } from '../support/by-hand.js';

/* Readings made for one question each, on both sides of what decides it. */

const TIRE = 'tractor/2/left/outer';
/** All that run like it: outer tires. */
const PEERS = ['tractor/2/right', 'tractor/3/left', 'tractor/3/right', 'trailer/1/left'].map((end) => `${end}/outer`);

interface Made {
  raw: (s: number) => number | null;
  celsius?: (s: number) => number | null;
  peers?: (s: number) => number;
  peersC?: (s: number) => number;
  kmh?: (s: number) => number;
}

/** An hour and a half; readings every ten seconds. */
function made({ raw, celsius = () => 18, peers = () => 690, peersC = () => 18, kmh = () => 80 }: Made): Gathered {
  const gathered = run(90, truckOf());
  sample(gathered, TIRE, 'pressure', 10, raw);
  sample(gathered, TIRE, 'temperature', 10, celsius);
  for (const peer of PEERS) {
    sample(gathered, peer, 'pressure', 10, peers);
    sample(gathered, peer, 'temperature', 10, peersC);
  }
  sample(gathered, 'tractor', 'speed', 1, kmh);
  return gathered;
}

const UNDECIDED = /^unclear: .* A gauge (?:on .* )?decides\.$/;

/** Hints that have something to say. */
const hints = (gathered: Gathered, rule?: RuleName): string[] =>
  allHints(gathered, rule).filter((hint) => !UNDECIDED.test(hint));

/** Hints of an alert that was raised after an hour. */
function allHints(gathered: Gathered, rule: RuleName = 'tire-losing-air'): string[] {
  const alert = alertOf(gathered, rule, TIRE, [[3600, 'raised', 'plan']]);
  const scene = { gathered, alert, fromMs: ZERO_MS + 600_000, toMs: ZERO_MS + 5_400_000 };
  return TIRE_PICTURES[rule]!(scene).hints.map(({ points, words }) => `${points}: ${text(words)}`);
}

/** Down by so many kPa a minute from minute 40 to minute 70. */
const falling =
  (perMin: number, from = 690) =>
  (s: number): number =>
    Math.round(from - (perMin * Math.min(1800, Math.max(0, s - 2400))) / 60);
/** Gas law at constant volume from 690 kPa at 18 °C. */
const heated = (celsius: number): number => Math.round((690 + 101.325) * ((celsius + 273.15) / 291.15) - 101.325);

describe('a fall along a line', () => {
  it('is a leak from two kPa a minute on: slower, a sensor that drifts looks the same', () => {
    expect(hints(made({ raw: falling(2.5) })).join()).toMatch(/^real: Pressure fell reading by reading/);
    expect(hints(made({ raw: falling(1.5) }))).toEqual([]);
  });

  it('is none of cold-equivalent pressure alone: a sensor that grows hot makes that fall', () => {
    const celsius = (s: number): number => 18 + Math.min(60, Math.max(0, (s - 2400) / 20));
    expect(hints(made({ raw: () => 690, celsius }))).toEqual([]);
  });

  it('is one in a tire that grows warm meanwhile: what is sent falls by half of it', () => {
    const celsius = (s: number): number => 18 + Math.min(30, Math.max(0, (s - 2400) / 60));
    const cold = falling(5);
    const sent = (s: number): number => Math.round((cold(s) + 101.325) * ((celsius(s) + 273.15) / 291.15) - 101.325);
    expect(sent(2400) - sent(4200)).toBeLessThan(0.6 * 150);
    expect(hints(made({ raw: sent, celsius })).join()).toMatch(/^real: Pressure fell/);
  });

  it('is none where the peers fall as well, and that is said', () => {
    const found = hints(made({ raw: falling(4), peers: falling(4) }));
    expect(found.join('\n')).toMatch(/^unclear: Four tires of the 4 that run like this one fell/);
    // Half of it, which is neither of this tire alone nor of all.
    expect(hints(made({ raw: falling(10), peers: falling(5) }))).toEqual([]);
    // Less than a third of it: weather does not explain this one.
    expect(hints(made({ raw: falling(4), peers: falling(0.8) })).join()).toMatch(/^real/);
  });

  it('is none with a single step in it', () => {
    expect(hints(made({ raw: (s) => (s < 3000 ? 690 : 590) })).join()).not.toContain('real');
  });
});

describe('a rise', () => {
  const parked = (s: number): number => (s >= 3000 && s < 4200 ? 0 : 80);

  it('at one stroke is no hose', () => {
    const found = hints(made({ raw: (s) => (s < 3600 ? 590 : 690) }), 'tire-overinflated');
    expect(found.join()).toMatch(
      /^sensor: At <3600> it rose by 100 kPa between two readings 10 s apart and stayed there/,
    );
    expect(hints(made({ raw: (s) => (s < 3600 ? 590 : 690) })).join()).toContain('it rose by 100 kPa');
  });

  it('of 100 kPa a minute is one, and so is what was not seen', () => {
    const filled = (s: number): number => 500 + Math.min(190, Math.max(0, ((s - 3600) * 100) / 60));
    expect(hints(made({ raw: filled, kmh: parked })).join()).not.toContain('it rose');
    const unseen = (s: number): number | null => (s < 3300 ? 590 : s < 3900 ? null : 690);
    expect(hints(made({ raw: unseen, kmh: parked })).join()).not.toContain('it rose');
  });
});

describe('a fall at a stand', () => {
  const stands = (s: number): number => (s >= 2400 && s < 4200 ? 0 : 80);

  it('is no heat', () => {
    expect(hints(made({ raw: falling(1.5), kmh: stands })).join()).toMatch(
      /^real: It went on falling while the truck stood for 26 min from <2580>, by 1\.5 kPa\/min/,
    );
  });

  it('is not told of what hardly falls', () => {
    expect(hints(made({ raw: falling(0.5), kmh: stands }))).toEqual([]);
  });

  it('is not told of a truck that stood for four minutes', () => {
    expect(hints(made({ raw: falling(1.5), kmh: (s) => (s >= 2700 && s < 2940 ? 0 : 80) }))).toEqual([]);
  });

  it('is heat that goes, where cold-equivalent pressure stays', () => {
    const celsius = (s: number): number => 60 - Math.min(30, Math.max(0, (s - 2400) / 60));
    const found = hints(made({ raw: (s) => heated(celsius(s)), celsius, kmh: stands }));
    expect(found.join('\n')).toMatch(/^unclear: Pressure as sent fell by \d+ kPa while the tire cooled by 30 °C/);
    expect(found).toHaveLength(1);
  });
});

describe('a hot tire', () => {
  const warm = (s: number): number => 18 + Math.min(60, Math.max(0, (s - 2400) / 20));
  const found = (raw: (s: number) => number) => hints(made({ raw, celsius: warm }), 'tire-hot').join('\n');

  it('has hot air where the pressure follows by the gas law', () => {
    expect(found((s) => heated(warm(s)))).toMatch(
      /real: It grew 60 °C warmer, which by the gas law makes 163 kPa; its pressure rose by 163 kPa/,
    );
  });

  it('has a hot sensor where the pressure stays', () => {
    expect(found(() => 690)).toMatch(/^unclear: It grew 60 °C warmer.*did not rise/);
  });

  it('says nothing where the pressure follows by half', () => {
    expect(found((s) => 690 + (heated(warm(s)) - 690) / 2)).toBe('');
  });

  it('is alone where its twin is as warm as others', () => {
    const gathered = made({ raw: (s) => heated(warm(s)), celsius: warm });
    const inner = ['tractor/2/left', 'tractor/2/right', 'tractor/3/left', 'tractor/3/right'].map(
      (end) => `${end}/inner`,
    );
    for (const tire of inner) sample(gathered, tire, 'temperature', 10, () => 20);
    expect(hints(gathered, 'tire-hot').join('\n')).toMatch(
      /unclear: The inner tire of the same end is as warm as its peers/,
    );
    const both = made({ raw: (s) => heated(warm(s)), celsius: warm });
    for (const [i, tire] of inner.entries()) sample(both, tire, 'temperature', 10, i === 0 ? warm : () => 20);
    expect(hints(both, 'tire-hot').join('\n')).toMatch(/real: The inner tire of the same end is 58 °C above its peers/);
  });
});

describe('what was wrong with the sensor before', () => {
  it('is told for an hour', () => {
    const gathered = made({ raw: () => 690 });
    const fault = (second: number) => event('2', 'tire-sensor-fault', TIRE, [second, 'raised', 'plan']);
    gathered.events = [fault(100)];
    expect(hints(gathered, 'tire-underinflated').join()).toMatch(/^sensor: At <100> this sensor had reported a fault/);
    gathered.events = [{ ...fault(0), atMs: ZERO_MS - 1000 }];
    expect(hints(gathered, 'tire-underinflated')).toEqual([]);
    gathered.events = [event('2', 'tire-sensor-fault', PEERS[0]!, [100, 'raised', 'plan'])];
    expect(hints(gathered, 'tire-underinflated')).toEqual([]);
  });

  it('that it loses far more readings than others', () => {
    const lossy = (every: number) => (s: number) => ((s / 10) % every === 0 ? null : 690);
    // A third, and a tenth, of its readings.
    expect(hints(made({ raw: lossy(3) })).join()).toMatch(
      /^sensor: In the half hour before it lost 33 % of its readings, others like it 0 %/,
    );
    expect(hints(made({ raw: lossy(10) }))).toEqual([]);
  });
});

describe('in words', () => {
  const saw = (gathered: Gathered): string => {
    const alert = alertOf(gathered, 'tire-losing-air', TIRE, [[3600, 'raised', 'plan']]);
    const scene = { gathered, alert, fromMs: ZERO_MS + 600_000, toMs: ZERO_MS + 5_400_000 };
    return TIRE_PICTURES['tire-losing-air']!(scene).saw.map(text).join(' ');
  };

  it('a fall has its ends, its length and its rate, and what the axle did meanwhile', () => {
    const gathered = made({ raw: falling(4) });
    // 120 kPa in 30 min, less a tenth at its begin and a twentieth at its end.
    expect(saw(gathered)).toMatch(
      /^It began to fall at about <2430>, by 4\.0 kPa\/min, while its mates stayed level\. Cold-equivalent pressure fell from 678 kPa at <2580> to 576 kPa at <411\d>: in 26 min, 4\.0 kPa\/min\. The other tire of this axle stayed within less than 1 kPa meanwhile\. Its temperature stayed within 1 °C\.$/,
    );
  });

  it('that somebody filled it is seen', () => {
    const gathered = made({ raw: (s) => (s < 4500 ? falling(4)(s) : 690) });
    expect(saw(gathered)).toContain('Later it stood at 690 kPa again, from <4500> on.');
  });

  it('a mate that fell too is named', () => {
    const gathered = made({ raw: falling(4) });
    sample(gathered, 'tractor/2/right/outer', 'pressure', 10, falling(2));
    expect(saw(gathered)).toMatch(/Right outer fell by 5\d kPa in the same time\./);
  });

  it('nothing that was heard is said to be nothing', () => {
    expect(saw(made({ raw: () => null }))).toContain('No pressure was heard of this tire in these minutes.');
  });
});

describe('a brake that dragged before', () => {
  /** Hints of a hot tire, beside a brake whose alert lasted from one second to the other. */
  const besideDrag = (fromS: number, toS: number | null): string => {
    const gathered = made({ raw: () => 690 });
    const put = (s: number, change: 'raised' | 'cleared'): void => {
      gathered.events.push(event('2', 'brake-dragging', 'tractor/2/left', [s, change, 'next-stop']));
    };
    put(fromS, 'raised');
    if (toS !== null) put(toS, 'cleared');
    return hints(gathered, 'tire-hot').join();
  };

  it('is told where it went free in the half hour before, however long it had dragged', () => {
    expect(besideDrag(300, 1801)).toContain('real: The brake of this wheel end dragged from <300>');
    expect(besideDrag(300, 1799)).not.toContain('dragged');
    expect(besideDrag(300, null)).toContain('dragged from <300>');
  });
});

describe('a sensor that is heard again', () => {
  /** Silent from minute 50 to minute 75. */
  const again = (kpa: number): string =>
    hints(made({ raw: (s) => (s < 3000 ? 690 : s < 4500 ? null : kpa) }), 'tire-sensor-silent').join();

  it('with half of the pressure or less: the air was gone', () => {
    expect(again(345)).toContain(
      'real: When it was heard again, at <4500>, it told 345 kPa instead of 690 kPa: the air was gone. Look at the tire first.',
    );
    expect(again(346)).not.toContain('the air was gone');
  });
});

describe('where no hint speaks', () => {
  const RULES = ['tire-losing-air', 'tire-underinflated', 'tire-overinflated'] as const;
  const drifts = made({ raw: falling(1) });

  it('one says that a slow leak and a drift look the same', () => {
    const slow =
      'unclear: These readings do not tell a slow loss of air from a sensor that drifts: both look like this. A gauge decides.';
    expect(allHints(drifts)).toEqual([slow]);
    expect(allHints(drifts, 'tire-underinflated')).toEqual([slow]);
    expect(allHints(drifts, 'tire-overinflated').join()).toContain('too much air from a sensor that reads high');
  });

  it('nobody calls slow what fell fast', () => {
    const halfOfAll = allHints(made({ raw: falling(10), peers: falling(5) }));
    expect(halfOfAll).toEqual([
      'unclear: These readings do not tell a loss of air from a sensor that is off. A gauge decides.',
    ]);
  });

  it('a tire that stood low all the time lost nothing in these minutes', () => {
    const low = made({ raw: () => 600, peers: (s) => 690 + (s % 7) });
    expect(allHints(low, 'tire-underinflated').join()).toContain('too little air from a sensor that reads low');
  });

  it('nothing that was heard is too little to tell', () => {
    for (const rule of RULES) expect(allHints(made({ raw: () => null }), rule).join()).toContain('Too few readings');
  });

  it('and only there', () => {
    expect(allHints(made({ raw: falling(4) })).join()).not.toMatch(/decides/);
    expect(allHints(made({ raw: () => 690 }), 'tire-hot')).toEqual([]);
  });
});
