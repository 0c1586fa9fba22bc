import { describe, expect, it } from 'vitest';
import type { Incoming } from '../../../office/core/model.js';
import { MIN, Office, STORE, stamp, T0 } from './messages.js';

/** An office that hears the truck every `everyMs` for so long. */
class Patient extends Office {
  hear(forMs: number, everyMs = 5 * MIN): this {
    for (const end = this.nowMs + forMs; this.nowMs < end; ) {
      this.wait(everyMs);
      const reading: Incoming = {
        kind: 'reading',
        receivedMs: this.nowMs,
        message: { v: 1, at: stamp(this.nowMs), r: {} },
      };
      this.fold(reading);
    }
    return this;
  }

  get seen() {
    return this.state.stores.find(({ store }) => store === STORE)!;
  }
}

/** 3 and 5 have not come. */
const holed = (): Patient => {
  const office = new Patient().open(0);
  for (const seq of [1, 2, 4, 6]) office.event(seq, seq === 1 ? 'raised' : 'unsure');
  return office;
};

describe('numbers that never come and that no gap explains', () => {
  it('are given up after the truck was heard for three hours, and counted', () => {
    const office = holed().hear(180 * MIN - 5 * MIN);
    expect(office.seen).toMatchObject({
      ranges: [
        [1, 2],
        [4, 4],
        [6, 6],
      ],
      lost: 0,
    });
    expect(office.hear(5 * MIN).seen).toMatchObject({ ranges: [[1, 6]], lost: 2, stuck: null });
  });

  it('are waited for while it is not heard: then it cannot have sent them again', () => {
    const office = holed().hear(600 * MIN, 7 * MIN);
    expect(office.seen.ranges).toHaveLength(3);
    expect(office.wait(7 * 24 * 60 * MIN).hear(170 * MIN).seen.ranges).toHaveLength(3);
  });

  it('begin their time anew when one of them comes', () => {
    const office = holed()
      .hear(170 * MIN)
      .event(3, 'sure')
      .hear(170 * MIN);
    expect(office.seen.ranges).toEqual([
      [1, 4],
      [6, 6],
    ]);
    expect(office.event(5, 'sure').hear(5 * MIN).seen).toMatchObject({ ranges: [[1, 6]], stuck: null, lost: 0 });
  });

  it('of holes that came later are not given up with them', () => {
    const office = holed()
      .hear(100 * MIN)
      .event(9, 'sure')
      .hear(80 * MIN);
    expect(office.seen).toMatchObject({ lost: 2 });
    expect(office.seen.ranges).toEqual([
      [1, 6],
      [9, 9],
    ]);
    expect(office.hear(185 * MIN).seen).toMatchObject({ ranges: [[1, 9]], lost: 4 });
  });

  it('of a database that the truck has no more are nobody’s', () => {
    const office = holed().open(1, [], { store: 'n3w' });
    office.event(1, 'raised', { store: 'n3w', alert: 'T-1042.n3w.1' }).hear(300 * MIN);
    expect(office.seen.ranges).toHaveLength(3);
    expect(office.nowMs).toBe(T0 + 300 * MIN);
  });
});
