import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { makeId } from '../../daemon/j1939/identifier.js';
import { Random } from '../../simulator/random.js';

/** Frames that nobody looks at, to fill a bus with: the end of a candump line from the identifier on, in order of time. */
export interface Filler {
  frames: Buffer[];
  /** Where they come from. */
  source: string;
}

const SEED = 7;
const MADE_GROUPS = 60;
const MADE_FRAMES = 20_000;
const SHARED = 'data/road-truck/normal.log';

/** What a recorded road truck sends besides, where the shared data are; else frames of like shape. */
export function fillerOf(interest: Uint8Array): Filler {
  const real = join(process.env.AXLEPOST_SHARED ?? '../shared', SHARED);
  const given = existsSync(real)
    ? { words: recorded(readFileSync(real, 'latin1')), source: 'frames of a recorded road truck' }
    : { words: made(new Random(SEED)), source: `made frames, seed ${SEED}` };
  const frames = given.words.filter((word) => interest[(Number.parseInt(word.slice(0, 8), 16) >>> 8) & 0x3ffff] === 0);
  return { frames: frames.map((word) => Buffer.from(`${word}\n`, 'latin1')), source: given.source };
}

const recorded = (text: string): string[] =>
  Array.from(text.matchAll(/ ([0-9A-F]{8}#[0-9A-F]*)$/gm), ([, word]) => word!);

/** Groups of all priorities whose bytes mostly stand still, with a counter and two that move. */
function made(random: Random): string[] {
  const groups = Array.from({ length: MADE_GROUPS }, () => ({
    id: makeId({ priority: random.whole(2, 7), pgn: random.whole(0xf000, 0xffff), source: random.whole(0, 60) }),
    data: Uint8Array.from({ length: 8 }, () => (random.chance(0.5) ? 0xff : random.whole(0, 250))),
  }));
  return Array.from({ length: MADE_FRAMES }, () => {
    // Some are sent a hundred times as often as others.
    const { id, data } = groups[Math.floor(MADE_GROUPS * random.next() * random.next())]!;
    data[0] = (data[0]! + 1) & 0x0f;
    for (const moving of [2, 3]) data[moving] = (data[moving]! + random.whole(-2, 2)) & 0xff;
    return `${id.toString(16).toUpperCase().padStart(8, '0')}#${Buffer.from(data).toString('hex').toUpperCase()}`;
  });
}
