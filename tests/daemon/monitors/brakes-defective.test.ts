import { describe, expect, it } from 'vitest';
import { ALL_OK, apply, driving, LEFT } from './brake-bench.js';
import { type Drive, truck } from './drive.js';

const RULE = 'brakes-defective-share';
/** SPN of BSA: five axles, ten brakes. */
const [STEER_LEFT, STEER_RIGHT, DRIVE_LEFT, DRIVE_RIGHT] = [3785, 3786, 3787, 3788];

/** Applications in which these brakes tell these codes. */
function apart(d: Drive, codes: Record<number, number>, times = 2): Drive {
  for (let i = 0; i < times; i++) apply(d, codes);
  return d;
}

describe('brakes-defective-share (B-20, B-22, W-17: a fifth of those fitted on the combination)', () => {
  it('10 brakes: one is 10 % and nothing, two are 20 % and pull-over, three are 30 %', () => {
    const d = apart(driving(), { [DRIVE_LEFT]: 2 });
    expect(d.of('brake-overstroke').at(-1)).toBe('worse next-stop');
    expect(d.of(RULE)).toEqual([]);
    apart(d, { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 1 });
    expect(d.of(RULE)).toEqual(['raised pull-over']);
    const [event] = d.list(RULE);
    expect(event).toMatchObject({ subject: 'brakes', kind: 'equipment' });
    expect(event!.measured).toMatchObject({
      quantity: 'brakes with a finding, of those fitted',
      value: 0.2,
      limit: 0.2,
    });
    expect(event!.basis).toMatch(/how an inspection would count, not a verdict/);
    const three = apart(driving(), { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 1, [STEER_LEFT]: 2 });
    expect(three.list(RULE)[0]!.measured).toMatchObject({ value: 0.3 });
  });

  it('the alerts of its wheels are listed under it', () => {
    const d = apart(driving(), { [DRIVE_LEFT]: 2, [STEER_RIGHT]: 2 });
    const [share] = d.list(RULE);
    const causes = d.open!.alerts.filter((a) => a.rule === 'brake-overstroke').map((a) => a.cause);
    expect(causes).toEqual([share!.alert, share!.alert]);
  });

  it('a brake that is at plan is not counted, and one with two findings counts once', () => {
    const plan = apart(driving(), { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 2 }, 1);
    expect(plan.of('brake-overstroke')).toEqual(['raised plan', 'raised plan']);
    expect(plan.of(RULE)).toEqual([]);
    const twice = apart(driving(), { [DRIVE_LEFT]: 2 });
    apart(twice, { [DRIVE_LEFT]: 1 });
    expect(twice.of('brake-not-applying', LEFT)).toEqual(['raised next-stop']);
    expect(twice.of(RULE)).toEqual([]);
  });

  it('linings and dragging brakes count as well; uneven strokes do not', () => {
    const d = driving();
    for (let i = 0; i < 3; i++) {
      d.send(65196, 11, { 1099: 8, 1100: 50 });
      d.run(2);
    }
    expect(d.of(RULE)).toEqual([]);
    d.world.strokes = { ...ALL_OK, 3798: 3 };
    d.run(13);
    expect(d.of(RULE)).toEqual(['raised pull-over']);
  });

  it('a truck alone has six brakes: one is 17 %, two are a third', () => {
    const alone = (): Drive => {
      const d = driving(truck('', (yaml) => yaml.replace(/^ {2}trailer:\n(?: {4}.*\n)+/m, '')));
      d.world.strokes = Object.fromEntries([3785, 3786, 3787, 3788, 3789, 3790].map((spn) => [spn, 0]));
      return d;
    };
    expect(apart(alone(), { [DRIVE_LEFT]: 2 }).of(RULE)).toEqual([]);
    const d = apart(alone(), { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 2 });
    expect(d.of(RULE)).toEqual(['raised pull-over']);
    expect(d.list(RULE)[0]!.measured).toMatchObject({ value: expect.closeTo(1 / 3, 3) });
  });

  it('cleared 10 s after the count has fallen below', () => {
    const d = apart(driving(), { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 2 });
    expect(d.of(RULE)).toEqual(['raised pull-over']);
    apart(d, { [DRIVE_LEFT]: 2 }, 3);
    d.run(10);
    expect(d.of('brake-overstroke', 'tractor/2/right').at(-1)).toBe('cleared next-stop');
    expect(d.of(RULE)).toEqual(['raised pull-over', 'cleared pull-over']);
  });

  it('a brake whose sensor is marked bad is unknown: it raises nothing, and clears nothing', () => {
    const marked = driving().mark(LEFT);
    apart(marked, { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 2 });
    expect(marked.of(RULE)).toEqual([]);
    const d = apart(driving(), { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 2 });
    d.mark(LEFT).run(60);
    expect(d.of(RULE)).toEqual(['raised pull-over']);
  });

  it('a restart keeps the count; silence clears nothing', () => {
    const d = apart(driving(), { [DRIVE_LEFT]: 2 });
    d.restart(60_000);
    d.run(5);
    apart(d, { [DRIVE_LEFT]: 2, [DRIVE_RIGHT]: 2 });
    expect(d.of(RULE)).toEqual(['raised pull-over']);
    d.restart(null);
    d.world.strokes = null;
    d.run(120);
    expect(d.of(RULE)).toEqual(['raised pull-over']);
    expect(d.open!.alerts.map((a) => a.rule)).toContain(RULE);
  });
});
