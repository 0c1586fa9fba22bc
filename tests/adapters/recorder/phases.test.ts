import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { Random } from '../../../simulator/random.js';
import { printedSeed } from '../../support/seed.js';
import { LiveRun, replay } from './live-run.js';
import { BEFORE, play, SEGMENT_MS, shift } from './shift.js';

const PHASES = 100;
const seed = printedSeed('phases');

const logsOf = (folder: string): string[] =>
  readdirSync(folder)
    .filter((name) => name.endsWith('.log.gz'))
    .sort()
    .map((name) => join(folder, name));

describe('a replay of recordings gives the live events again, byte for byte', () => {
  it(`${PHASES} phases of the frames against the ticks, two buses, answers, reloads and the clock at odd times`, async () => {
    const random = new Random(seed);
    const kinds = new Set<string>();
    for (let n = 0; n < PHASES; n++) {
      const phaseMs = n * 10 + random.whole(0, 9);
      const run = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS, boot: n + 1 });
      await play(run, shift(phaseMs, random.whole(1, 2 ** 31 - 1)));
      for (const line of run.events) kinds.add((JSON.parse(line) as { change: string }).change);
      const logs = logsOf(run.folder);
      expect(logs.length).toBeGreaterThan(6);
      const whole = await replay(logs);
      expect({ phaseMs, code: whole.code, events: whole.events }).toEqual({ phaseMs, code: 0, events: run.events });
      const later = random.whole(1, logs.length - 1);
      // From every later segment in some of the phases, from one of them in all.
      for (const from of n % 20 === 0 ? logs.keys() : [later]) {
        const { events, err } = await replay(logs.slice(from));
        const first = firstT(logs[from]!);
        const tail = run.events.filter((line) => (JSON.parse(line) as { at: number }).at > first);
        expect({ phaseMs, from, events }).toEqual({ phaseMs, from, events: tail });
        expect(err).toContain('starts from the recorded state');
      }
    }
    for (const kind of ['raised', 'worse', 'cleared', 'taken', 'snoozed', 'resumed', 'closed', 'unsure'])
      expect(kinds).toContain(kind);
  }, 300_000);
});

function firstT(log: string): number {
  return (JSON.parse(readFileSync(log.replace('.log.gz', '.json'), 'utf8')) as { firstT: number }).firstT;
}
