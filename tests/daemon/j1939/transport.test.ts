import { describe, expect, it } from 'vitest';
import { makeId } from '../../../daemon/j1939/identifier.js';
import { MAX_SESSIONS, newTransportState, Transport, type TransportState } from '../../../daemon/j1939/transport.js';
import { revive, snapshot } from '../../../daemon/state.js';
import fc from '../../support/property.js';

const TP_CM = 0xec00;
const TP_DT = 0xeb00;
const [RTS, CTS, EOMA, BAM, ABORT] = [16, 17, 19, 32, 255];

interface Sent {
  t: number;
  id: number;
  data: Uint8Array;
}

const low = (n: number) => n & 255;
const cm = (t: number, source: number, destination: number, data: number[]): Sent => ({
  t,
  id: makeId({ priority: 7, pgn: TP_CM, source, destination }),
  data: Uint8Array.from(data),
});
const pgnBytes = (pgn: number) => [low(pgn), low(pgn >> 8), pgn >> 16];

function announce(
  t: number,
  control: number,
  sa: number,
  da: number,
  pgn: number,
  size: number,
  packets?: number,
): Sent {
  return cm(t, sa, da, [control, low(size), size >> 8, packets ?? Math.ceil(size / 7), 255, ...pgnBytes(pgn)]);
}

/** Byte i of every message here is i × 7 mod 251, so that a misplaced packet shows. */
const contentOf = (size: number) => Uint8Array.from({ length: size }, (_, i) => (i * 7) % 251);

function packet(t: number, sa: number, da: number, size: number, sequence: number): Sent {
  const part = contentOf(size).slice((sequence - 1) * 7, sequence * 7);
  const data = new Uint8Array(8).fill(255);
  data.set([sequence, ...part]);
  return { t, id: makeId({ priority: 7, pgn: TP_DT, source: sa, destination: da }), data };
}

function listener(state: TransportState = newTransportState(), wanted: (pgn: number) => boolean = () => true) {
  const heard: string[] = [];
  const transport = new Transport(
    wanted,
    (t, pgn, sa, da, data, length) =>
      heard.push(`${t} ${pgn} ${sa}>${da} ${Buffer.from(data.subarray(0, length)).toString('hex')}`),
    state,
  );
  const send = (...frames: Sent[]) => {
    for (const { t, id, data } of frames) transport.frame(t, id, data, data.length);
  };
  return { heard, transport, send, counters: transport.state.counters };
}

const hexOf = (size: number) => Buffer.from(contentOf(size)).toString('hex');
const DM1 = 65226;

describe('broadcasts', () => {
  it.each([9, 14, 15, 1785])('of %i bytes arrive whole', (size) => {
    const { heard, send, transport } = listener();
    send(announce(0, BAM, 11, 255, DM1, size));
    const packets = Math.ceil(size / 7);
    for (let n = 1; n <= packets; n++) send(packet(n * 50, 11, 255, size, n));
    expect(heard).toEqual([`${packets * 50} ${DM1} 11>255 ${hexOf(size)}`]);
    expect(transport.state.sessions).toEqual([]);
  });

  it('of senders that speak at once do not mix', () => {
    const { heard, send } = listener();
    send(announce(0, BAM, 1, 255, DM1, 14), announce(0, BAM, 2, 255, DM1, 20));
    send(packet(10, 2, 255, 20, 1), packet(20, 1, 255, 14, 1), packet(30, 2, 255, 20, 2), packet(40, 1, 255, 14, 2));
    send(packet(50, 2, 255, 20, 3));
    expect(heard).toEqual([`40 ${DM1} 1>255 ${hexOf(14)}`, `50 ${DM1} 2>255 ${hexOf(20)}`]);
  });

  it('with a packet missing are dropped, and the rest are orphans', () => {
    const { heard, send, counters } = listener();
    send(announce(0, BAM, 11, 255, DM1, 21), packet(50, 11, 255, 21, 1), packet(100, 11, 255, 21, 3));
    expect(counters).toMatchObject({ dropped: 1, orphans: 0 });
    send(packet(150, 11, 255, 21, 2), packet(200, 11, 255, 21, 3));
    expect(heard).toEqual([]);
    expect(counters).toMatchObject({ dropped: 1, orphans: 2, complete: 0 });
  });

  it('outlive a frame that the controller delivers twice, but not two different packets of one number', () => {
    const { heard, send, counters } = listener();
    send(announce(0, BAM, 11, 255, DM1, 14));
    send(packet(50, 11, 255, 14, 1), packet(50, 11, 255, 14, 1), packet(100, 11, 255, 14, 2));
    expect(heard).toHaveLength(1);
    expect(counters.repeats).toBe(1);
    const other = packet(300, 11, 255, 14, 1);
    other.data[3] = 99;
    send(announce(200, BAM, 11, 255, DM1, 14), packet(250, 11, 255, 14, 1), other, packet(350, 11, 255, 14, 2));
    expect(heard).toHaveLength(1);
    expect(counters).toMatchObject({ dropped: 1, orphans: 1 });
  });

  it('are replaced by the same sender’s next one', () => {
    const { heard, send, counters } = listener();
    send(announce(0, BAM, 11, 255, 65260, 20), packet(50, 11, 255, 20, 1));
    send(announce(60, BAM, 11, 255, DM1, 14), packet(70, 11, 255, 14, 1), packet(80, 11, 255, 14, 2));
    expect(heard).toEqual([`80 ${DM1} 11>255 ${hexOf(14)}`]);
    expect(counters.replaced).toBe(1);
  });

  it('wait 750 ms for a packet, and no longer (J1939-21 T1)', () => {
    for (const [gap, messages] of [
      [750, 1],
      [751, 0],
    ] as const) {
      const first = listener();
      first.send(announce(0, BAM, 11, 255, DM1, 14), packet(gap, 11, 255, 14, 1), packet(gap + 10, 11, 255, 14, 2));
      expect(first.heard).toHaveLength(messages);
      const second = listener();
      second.send(announce(0, BAM, 11, 255, DM1, 14), packet(50, 11, 255, 14, 1), packet(50 + gap, 11, 255, 14, 2));
      expect(second.heard).toHaveLength(messages);
      expect(second.counters.timedOut).toBe(1 - messages);
    }
  });

  it('end when the sender aborts', () => {
    const { send, transport, counters } = listener();
    send(announce(0, BAM, 11, 255, DM1, 14), cm(10, 11, 255, [ABORT, 3, 255, 255, 255, ...pgnBytes(DM1)]));
    expect(transport.state.sessions).toEqual([]);
    expect(counters.aborted).toBe(1);
  });
});

describe('transfers between two units', () => {
  const rts = (t: number, size: number) => announce(t, RTS, 3, 0x27, DM1, size);
  const cts = (t: number, next: number) => cm(t, 0x27, 3, [CTS, 1, next, 255, 255, ...pgnBytes(DM1)]);

  it('take repeats and any order by packet number, and end at the last one missing', () => {
    const { heard, send, counters } = listener();
    send(rts(0, 28), cts(20, 1));
    for (const [i, n] of [1, 3, 3, 4, 1].entries()) send(packet(50 + i, 3, 0x27, 28, n));
    expect(heard).toEqual([]);
    send(cts(80, 2), packet(90, 3, 0x27, 28, 2));
    expect(heard).toEqual([`90 ${DM1} 3>39 ${hexOf(28)}`]);
    expect(counters).toMatchObject({ repeats: 2, complete: 1 });
  });

  it('of 255 packets arrive whole', () => {
    const { heard, send } = listener();
    send(rts(0, 1785));
    for (let n = 255; n >= 1; n--) send(packet(10, 3, 0x27, 1785, n));
    expect(heard).toEqual([`10 ${DM1} 3>39 ${hexOf(1785)}`]);
  });

  it('wait 1250 ms for the first packet (T2), 750 ms between packets (T1), and as long as the receiver asks', () => {
    const first = listener();
    first.send(rts(0, 14), packet(1250, 3, 0x27, 14, 1), packet(2000, 3, 0x27, 14, 2));
    expect(first.heard).toHaveLength(1);
    const late = listener();
    late.send(rts(0, 14), packet(1251, 3, 0x27, 14, 1));
    expect(late.counters).toMatchObject({ timedOut: 1, orphans: 1 });
    const gap = listener();
    gap.send(rts(0, 14), packet(10, 3, 0x27, 14, 1), packet(761, 3, 0x27, 14, 2));
    expect(gap.counters).toMatchObject({ timedOut: 1, orphans: 1 });
    const held = listener();
    held.send(rts(0, 14), packet(10, 3, 0x27, 14, 1));
    for (let t = 500; t <= 3000; t += 500) held.send(cm(t, 0x27, 3, [CTS, 0, 255, 255, 255, ...pgnBytes(DM1)]));
    held.send(packet(4250, 3, 0x27, 14, 2));
    expect(held.heard).toHaveLength(1);
  });

  it('end when either side aborts, or the receiver has it all while we have not', () => {
    for (const [source, destination] of [
      [3, 0x27],
      [0x27, 3],
    ] as const) {
      const { send, transport, counters } = listener();
      send(rts(0, 14), cm(5, source, destination, [ABORT, 250, 255, 255, 255, ...pgnBytes(65260)]));
      expect(transport.state.sessions).toHaveLength(1);
      send(cm(10, source, destination, [ABORT, 250, 255, 255, 255, ...pgnBytes(DM1)]));
      expect(transport.state.sessions).toEqual([]);
      expect(counters.aborted).toBe(1);
    }
    const { heard, send, counters } = listener();
    send(rts(0, 14), packet(10, 3, 0x27, 14, 2), cm(20, 0x27, 3, [EOMA, 14, 0, 2, 255, ...pgnBytes(DM1)]));
    send(packet(30, 3, 0x27, 14, 1));
    expect(heard).toEqual([]);
    expect(counters).toMatchObject({ dropped: 1, orphans: 1 });
  });

  it('run both ways at once without mixing', () => {
    const { heard, send } = listener();
    send(announce(0, RTS, 1, 2, DM1, 14), announce(0, RTS, 2, 1, DM1, 16));
    for (const n of [1, 2, 3]) send(packet(10 * n, 2, 1, 16, n));
    for (const n of [1, 2]) send(packet(50 + n, 1, 2, 14, n));
    expect(heard).toEqual([`30 ${DM1} 2>1 ${hexOf(16)}`, `52 ${DM1} 1>2 ${hexOf(14)}`]);
  });
});

describe('announcements that make no sense', () => {
  it.each([
    ['8 bytes', announce(0, BAM, 1, 255, DM1, 8)],
    ['1786 bytes', announce(0, BAM, 1, 255, DM1, 1786, 255)],
    ['a packet too many', announce(0, BAM, 1, 255, DM1, 14, 3)],
    ['no packets', announce(0, BAM, 1, 255, DM1, 14, 0)],
    ['RTS to everybody', announce(0, RTS, 1, 255, DM1, 14)],
    ['broadcast to one', announce(0, BAM, 1, 2, DM1, 14)],
    ['a PGN past the last', announce(0, BAM, 1, 255, 0x40000, 14)],
    ['a PDU1 group with a low byte', announce(0, BAM, 1, 255, 0xea01, 14)],
  ])('%s: refused', (_what, head) => {
    const { send, transport, counters } = listener();
    send(head);
    expect(transport.state.sessions).toEqual([]);
    expect(counters.refused).toBe(1);
  });

  it('and frames cut short are counted', () => {
    const { send, counters, transport } = listener();
    send({ t: 0, id: 0x1cecff01, data: Uint8Array.of(32, 14, 0) }, { t: 0, id: 0x1cebff01, data: new Uint8Array(0) });
    expect(counters).toMatchObject({ malformed: 1, orphans: 1 });
    send(announce(0, BAM, 1, 255, DM1, 14), { t: 1, id: 0x1cebff01, data: Uint8Array.of(1, 2, 3) });
    expect(counters).toMatchObject({ malformed: 2, dropped: 1 });
    expect(transport.state.sessions).toEqual([]);
  });

  it('a last packet without padding is enough', () => {
    const { heard, send } = listener();
    const last = packet(20, 1, 255, 9, 2);
    send(announce(0, BAM, 1, 255, DM1, 9), packet(10, 1, 255, 9, 1), { ...last, data: last.data.slice(0, 3) });
    expect(heard).toEqual([`20 ${DM1} 1>255 ${hexOf(9)}`]);
  });
});

describe('bounds', () => {
  it('64 transfers at once; the oldest makes room and is counted', () => {
    const { heard, send, transport, counters } = listener();
    for (let sa = 0; sa <= MAX_SESSIONS; sa++) send(announce(sa, BAM, sa, 255, DM1, 1785));
    expect(transport.state.sessions).toHaveLength(MAX_SESSIONS);
    expect(transport.state.sessions[0]!.sa).toBe(1);
    expect(counters.overflow).toBe(1);
    expect(heard).toEqual([]);
  });

  it('what has timed out makes room first', () => {
    const { send, counters } = listener();
    for (let sa = 0; sa < MAX_SESSIONS; sa++) send(announce(sa, BAM, sa, 255, DM1, 14));
    send(announce(755, BAM, 200, 255, DM1, 14));
    expect(counters).toMatchObject({ overflow: 0, timedOut: 5 });
  });

  it('groups nobody wants are followed without keeping their content', () => {
    const { heard, send, transport, counters } = listener(newTransportState(), (pgn) => pgn === DM1);
    send(announce(0, BAM, 1, 255, 65259, 1785));
    expect(transport.state.sessions[0]!.payload).toBeNull();
    for (let n = 1; n <= 255; n++) send(packet(n, 1, 255, 1785, n));
    expect(heard).toEqual([]);
    expect(counters).toMatchObject({ complete: 1, orphans: 0 });
  });
});

/** Traffic of few addresses and groups, so that announcements, packets and controls meet. */
const traffic = fc.array(
  fc.record({
    wait: fc.oneof({ weight: 8, arbitrary: fc.nat(60) }, fc.constantFrom(749, 750, 751, 1250, 1251)),
    sa: fc.nat(3),
    da: fc.constantFrom(255, 255, 0, 1, 2),
    what: fc.oneof(
      { weight: 2, arbitrary: fc.tuple(fc.constantFrom(RTS, BAM, CTS, EOMA, ABORT), fc.integer({ min: 7, max: 24 })) },
      { weight: 5, arbitrary: fc.tuple(fc.constant(-1), fc.nat(4)) },
      { weight: 1, arbitrary: fc.tuple(fc.constant(-2), fc.nat(255)) },
    ),
    noise: fc.uint8Array({ maxLength: 8 }),
  }),
  { maxLength: 120 },
);

function framesOf(steps: Parameters<Parameters<typeof traffic.map>[0]>[0]): Sent[] {
  let t = 0;
  return steps.map(({ wait, sa, da, what: [kind, n], noise }) => {
    t += wait;
    if (kind === -1) return packet(t, sa, da, 24, n);
    if (kind === -2) {
      const pgn = n % 2 ? TP_CM : TP_DT;
      return { t, id: makeId({ priority: 7, pgn, source: sa, destination: da }), data: noise };
    }
    return announce(t, kind, sa, da, n % 3 ? DM1 : 65260, n);
  });
}

describe('for any traffic', () => {
  it('never throws, and stays bounded', () => {
    fc.assert(
      fc.property(
        fc.array(
          fc.record({
            t: fc.nat(100_000),
            id: fc.oneof(
              fc.integer({ min: 0, max: 0x1fffffff }),
              fc.nat(0xffff).map((tail) => 0x1cec0000 | tail),
              fc.nat(0xffff).map((tail) => 0x1ceb0000 | tail),
            ),
            data: fc.uint8Array({ maxLength: 8 }),
          }),
          { maxLength: 300 },
        ),
        (frames) => {
          const { send, transport } = listener();
          for (const sent of frames.toSorted((a, b) => a.t - b.t)) {
            send(sent);
            expect(transport.state.sessions.length).toBeLessThanOrEqual(MAX_SESSIONS);
          }
        },
      ),
    );
  });

  it('gives the same after the state went through JSON between any two frames', () => {
    fc.assert(
      fc.property(traffic, fc.nat(119), (steps, cut) => {
        const frames = framesOf(steps);
        const straight = listener();
        straight.send(...frames);
        const before = listener();
        before.send(...frames.slice(0, cut));
        const state = JSON.parse(JSON.stringify(before.transport.state)) as TransportState;
        const after = listener(state);
        after.send(...frames.slice(cut));
        expect([...before.heard, ...after.heard]).toEqual(straight.heard);
        expect(after.transport.state).toEqual(straight.transport.state);
      }),
    );
  });

  it('gives the same in a run whose time starts elsewhere', () => {
    fc.assert(
      fc.property(traffic, fc.nat(119), (steps, cut) => {
        const frames = framesOf(steps);
        const straight = listener();
        straight.send(...frames);
        const before = listener();
        before.send(...frames.slice(0, cut));
        const t = frames[Math.min(cut, frames.length) - 1]?.t ?? 0;
        const shift = 5_000_000;
        const state = revive(JSON.parse(JSON.stringify(snapshot(before.transport.state, t))), t + shift);
        const after = listener(state as unknown as TransportState);
        after.send(...frames.slice(cut).map((sent) => ({ ...sent, t: sent.t + shift })));
        const bare = (lines: string[]) => lines.map((line) => line.replace(/^\d+ /, ''));
        expect(bare([...before.heard, ...after.heard])).toEqual(bare(straight.heard));
      }),
    );
  });

  it('gives the same messages however often expire is called', () => {
    fc.assert(
      fc.property(traffic, (steps) => {
        const frames = framesOf(steps);
        const seldom = listener();
        seldom.send(...frames);
        const often = listener();
        for (const sent of frames) {
          often.transport.expire(sent.t);
          often.send(sent);
        }
        expect(often.heard).toEqual(seldom.heard);
      }),
    );
  });
});
