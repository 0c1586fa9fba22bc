import { describe, expect, it } from 'vitest';
import { Drive, gauge, PSI, STEER_KPA, SUBJECTS, TARGET_KPA, targetOf } from './drive.js';

const WHEEL = 'tractor/2/left/outer';
const TWIN = 'tractor/2/left/inner';
const STEER = 'tractor/1/left/single';
const RULE = 'tire-underinflated';
const PEERS_C = 30;

/** All tires right, at 30 °C. */
function warm(): Drive {
  const d = new Drive();
  for (const s of SUBJECTS) Object.assign(d.wheel(s), { celsius: PEERS_C, kpa: gauge(targetOf(s), PEERS_C) });
  return d;
}

/** A brake heats a tire: its sensor on the rim by so much, its air half as much; it holds a share of its target. */
function heat(d: Drive, subject: string, sensorC: number, share = 1): void {
  const kpa = gauge(share * targetOf(subject), PEERS_C + sensorC / 2);
  Object.assign(d.wheel(subject), { celsius: PEERS_C + sensorC, kpa });
}

const heated = (sensorC: number, share: number, seconds: number): Drive => {
  const d = warm();
  heat(d, WHEEL, sensorC, share);
  heat(d, TWIN, sensorC);
  return d.run(seconds);
};

describe('a wheel that a brake heats: its sensor is hotter than its air', () => {
  it('is not low because of the heat, which by its own temperature it would be', () => {
    const d = heated(80, 1, 900);
    const byOwn = ((d.wheel(WHEEL).kpa + 101.5) * 291.15) / (PEERS_C + 80 + 273.15) - 101.325;
    expect(byOwn / TARGET_KPA).toBeLessThan(0.89);
    expect(d.list(RULE)).toEqual([]);
    expect(d.pipeline.state.tires[WHEEL]!.share).toBeCloseTo(1, 2);
  });

  it('nor is a steer tire, which has one peer and no twin', () => {
    const d = warm();
    heat(d, STEER, 80);
    d.run(900);
    expect(d.wheel(STEER).kpa).toBeGreaterThan(STEER_KPA);
    expect(d.list(RULE)).toEqual([]);
  });

  it('is planned for when it is low whatever its air has; one that may be right waits until it has cooled', () => {
    // 78 % and 85 %, with 15 °C more in the air than the peers have: at most 83 % and 90.4 %.
    expect(heated(30, 0.83, 700).of(RULE, WHEEL)).toEqual(['raised plan']);
    const d = heated(30, 0.88, 900);
    expect(d.of(RULE, WHEEL)).toEqual([]);
    for (const s of [WHEEL, TWIN]) heat(d, s, 0, s === WHEEL ? 0.88 : 1);
    d.run(630);
    expect(d.of(RULE, WHEEL)).toEqual(['raised plan']);
  });

  it.each([
    [0.8, ['raised next-stop']],
    [0.82, []],
  ])('next-stop by what lies half way between sensor and peers: %d of target', (share, expected) => {
    expect(heated(60, share, 200).of(RULE, WHEEL)).toEqual(expected);
  });

  it.each([
    [0.49, ['raised pull-over']],
    [0.52, []],
  ])('pull-over likewise: %d of target', (share, expected) => {
    const d = heated(60, share, 40);
    expect(d.of(RULE, WHEEL)).toEqual(expected);
  });

  it('does not clear what was told before: it may be low still', () => {
    const d = warm();
    heat(d, WHEEL, 0, 0.88);
    d.run(640);
    expect(d.of(RULE, WHEEL)).toEqual(['raised plan']);
    // By the gauge it is right now, by its own temperature not.
    for (const s of [WHEEL, TWIN]) heat(d, s, 60, s === WHEEL ? 0.92 : 1);
    expect(d.wheel(WHEEL).kpa).toBeGreaterThan(gauge(TARGET_KPA, PEERS_C));
    d.run(900);
    expect(d.of(RULE, WHEEL)).toEqual(['raised plan']);
    for (const s of [WHEEL, TWIN]) heat(d, s, 0);
    d.run(640);
    expect(d.of(RULE, WHEEL)).toEqual(['raised plan', 'cleared plan']);
  });
});

describe('where the line runs: more than 10 °C over its peers, and its twin 5 °C or more', () => {
  // 88 % by its own temperature, as it is where nothing else heats it.
  const low = (wheelC: number, twinC: number): Drive => {
    const d = warm();
    Object.assign(d.wheel(WHEEL), { celsius: PEERS_C + wheelC, kpa: gauge(0.88 * TARGET_KPA, PEERS_C + wheelC) });
    Object.assign(d.wheel(TWIN), { celsius: PEERS_C + twinC, kpa: gauge(TARGET_KPA, PEERS_C + twinC) });
    return d.run(700);
  };

  it.each([
    [10, 10, ['raised plan']],
    [11, 11, []],
    [11, 4.5, ['raised plan']],
    [11, 5, []],
  ])('%d °C, its twin %d °C over the peers: %j', (wheelC, twinC, expected) => {
    expect(low(wheelC, twinC).of(RULE, WHEEL)).toEqual(expected);
  });

  // T-46, W-10: 14 psi below 100 psi runs at 150 + 14/2 × 5 = 185 °F.
  it('W-10: the heat of a soft tire is its own, and makes it no less low', () => {
    const celsius = (fahrenheit: number) => ((fahrenheit - 32) * 5) / 9;
    const soft = celsius(150 + (14 / 2) * 5);
    expect(soft).toBeCloseTo(85, 6);
    const d = new Drive();
    const usual = celsius(150);
    for (const s of SUBJECTS) Object.assign(d.wheel(s), { celsius: usual, kpa: gauge(targetOf(s), usual) });
    Object.assign(d.wheel(WHEEL), { celsius: soft, kpa: gauge(86 * PSI, soft) });
    d.run(700);
    expect(d.story).toContain(`${RULE} raised plan ${WHEEL}`);
    expect(d.of('tire-hot')).toEqual([]);
  });
});
