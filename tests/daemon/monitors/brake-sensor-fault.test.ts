import { describe, expect, it } from 'vitest';
import { ALL_OK, driving, LEFT, LEFT2 } from './brake-bench.js';
import type { Drive } from './drive.js';

const RULE = 'brake-sensor-fault';

/** Stroke status of one brake for so many seconds; null: its field says "not available". */
function says(d: Drive, code: number | null, seconds: number): Drive {
  d.world.strokes = { ...ALL_OK, [LEFT2]: code ?? 7 };
  return d.run(seconds);
}

describe('brake-sensor-fault: the sender calls the sensor faulty (code 6 of SPN 3785–3804)', () => {
  it('plan, as a matter of the system, after 30 s of it; not after 29', () => {
    expect(says(says(driving(), 6, 29), 0, 60).of(RULE)).toEqual([]);
    const d = says(driving(), 6, 30);
    expect(d.of(RULE)).toEqual([]);
    d.run(1);
    expect(d.list(RULE)).toMatchObject([
      {
        t: 35_000,
        change: 'raised',
        urgency: 'plan',
        kind: 'system',
        subject: LEFT,
        measured: { code: 6, text: 'sensor error' },
        basis: 'common practice',
      },
    ]);
  });

  it('one frame with a state begins anew', () => {
    const d = says(says(driving(), 6, 20), 0, 1);
    expect(says(says(d, 6, 29), 0, 5).of(RULE)).toEqual([]);
  });

  it('cleared after 30 s of states, whichever they are', () => {
    const d = says(says(driving(), 6, 40), 3, 30);
    expect(d.of(RULE)).toEqual(['raised plan']);
    expect(d.run(2).of(RULE)).toEqual(['raised plan', 'cleared plan']);
  });

  it('silence of the brake, or of all, clears nothing', () => {
    const d = says(says(driving(), 6, 40), null, 120);
    expect(d.of(RULE)).toEqual(['raised plan', 'unsure plan']);
    d.world.strokes = null;
    expect(d.run(120).of(RULE)).toEqual(['raised plan', 'unsure plan']);
  });

  it('a restart in the middle: time down is not evidence; asleep: from nothing', () => {
    const d = says(driving(), 6, 20);
    d.restart(2000);
    expect(says(d, 6, 9).of(RULE)).toEqual([]);
    expect(says(d, 6, 3).of(RULE)).toEqual(['raised plan']);
    const parked = driving();
    parked.world.kmh = 0;
    says(parked, 6, 20).rest(600);
    expect(says(parked, 6, 30).of(RULE)).toEqual([]);
    expect(says(parked, 6, 2).of(RULE)).toEqual(['raised plan']);
  });

  it('a faulty sensor says nothing of its brake: what it told before is neither made worse nor cleared', () => {
    const d = says(driving(), 3, 15);
    expect(d.of('brake-dragging')).toEqual(['raised next-stop']);
    says(d, 6, 30);
    expect(d.of('brake-dragging')).toEqual(['raised next-stop']);
    expect(says(d, 6, 60).of('brake-dragging')).toEqual(['raised next-stop', 'unsure next-stop']);
  });

  it('a fault that another sender tells is not heard while the first is fresh', () => {
    const d = driving();
    d.run(60, () => d.send(64881, 99, { [LEFT2]: 6 }));
    expect(d.of(RULE)).toEqual([]);
  });
});
