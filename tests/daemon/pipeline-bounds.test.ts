import { expect, it } from 'vitest';
import { makeId } from '../../daemon/j1939/identifier.js';
import { broadcast, dm1Payload } from '../../simulator/encode.js';
import { drive, target } from '../support/drive.js';
import { type Frame, Rig } from '../support/rig.js';
import { printedSeed } from '../support/seed.js';

const HOURS = 20;
const LOOP_S = 600;
const LIMIT_BYTES = 400_000;
/** SPNs whose codes are judged (tires, strokes, air), and some that are not. */
const SPNS = [241, 242, 1697, 1698, 3785, 3790, 116, 117, 118, 1087, 1088, 46, 84, 190, 520_192];

/** Ten minutes on the road; context once a second, tires every 20 s and strokes while braking are enough here. */
const base: Frame[] = [
  ...drive(0, LOOP_S, (s) => ({
    tire: (i) =>
      i === 5 && s > 300 ? null : [target(i) * (i === 2 && s < 400 ? 0.75 : 1), s > 200 && i === 9 ? 125 : 30],
    stroke: (i) => (i === 3 && s % 120 < 4 ? 2 : 0),
    brakeKpa: s % 60 < 4 ? 240 : 0,
    primaryKpa: s > 500 && s < 540 ? 380 : 800,
  })),
].filter((f) => {
  const pgn = (f.id >>> 8) & 0xffff;
  if (pgn === 61444 || pgn === 65265) return f.t % 1000 < 100;
  if (pgn === 65268) return f.t % 20_000 < 10_000;
  return pgn === 64881 ? f.t % 60_000 < 6_000 : pgn !== 65269;
});

it(`${HOURS} hours of trouble that comes and goes keep the state below ${LIMIT_BYTES / 1000} KB`, {
  timeout: 120_000,
}, () => {
  let seed = printedSeed('bounds');
  const random = (n: number): number => {
    seed = (Math.imul(seed, 1_103_515_245) + 12_345) >>> 0;
    return (seed >>> 8) % n;
  };
  const rig = new Rig();
  const sizes: number[] = [];
  let largest = 0;
  const loops = (HOURS * 3600) / LOOP_S;
  for (let loop = 0; loop < loops; loop++) {
    const from = loop * LOOP_S * 1000;
    const frames = base.map((f) => ({ ...f, t: f.t + from }));
    for (let k = 0; k < 400; k++) {
      const t = from + random(LOOP_S * 1000 - 2000);
      const source = random(254);
      const spn = SPNS[random(SPNS.length)]!;
      const code = [spn & 0xff, (spn >> 8) & 0xff, ((spn >> 16) << 5) | random(32), 1];
      const data = Uint8Array.from([[0x00, 0x04, 0x10][random(3)]!, 0xff, ...code, 0xff, 0xff]);
      const id = makeId({ priority: 6, pgn: 65226, source });
      // Most codes are told twice in a row, as the rule asks.
      for (let n = 0; n < 1 + random(3); n++) frames.push({ t: t + n * 900, id, data });
      if (k % 8 === 0)
        frames.push(
          ...broadcast(
            t,
            source,
            65226,
            Uint8Array.from({ length: 38 }, () => random(256)),
          ).slice(0, 1 + random(7)),
        );
      if (k % 8 === 1)
        frames.push({
          t,
          id: makeId({ priority: 6, pgn: 60928, source: random(256) }),
          data: Uint8Array.from({ length: 8 }, () => random(256)),
        });
    }
    frames.sort((a, b) => a.t - b.t);
    rig.feed(frames).advance((loop + 1) * LOOP_S * 1000);
    const size = JSON.stringify(rig.saved((loop + 1) * LOOP_S * 1000)).length;
    largest = Math.max(largest, size);
    sizes.push(size);
    rig.effects.length = 0;
  }
  console.log(`largest state ${largest} bytes, after the first hour ${sizes[5]}, at the end ${sizes.at(-1)}`);
  expect(largest).toBeLessThan(LIMIT_BYTES);
  // Nothing grows on: the last hours need no more than the first ones.
  const worst = (list: number[]) => Math.max(...list);
  expect(worst(sizes.slice(-30))).toBeLessThan(1.2 * worst(sizes.slice(0, 30)));

  // Every unit says that nothing is wrong, then 40 minutes of health: what was temporary is gone.
  const end = HOURS * 3600;
  const well: Frame[] = [];
  for (let second = 0; second < 30; second++) {
    for (let source = 0; source < 254; source++) {
      const id = makeId({ priority: 6, pgn: 65226, source });
      well.push({ t: (end + second) * 1000 + source, id, data: dm1Payload('none', []) });
    }
  }
  rig.feed(well);
  rig.feed(drive(end + 30, end + 2600, () => ({}))).advance((end + 2600) * 1000);
  expect(Object.values(rig.pipeline.state.book.alerts).filter((a) => a.rule === 'fault-code')).toEqual([]);
  expect(Object.keys(rig.pipeline.state.judgements['fault-code']!)).toEqual([]);
  expect(rig.pipeline.state.book.muted).toEqual({});
});
