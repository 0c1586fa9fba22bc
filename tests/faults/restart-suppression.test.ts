import { describe, expect, test } from 'vitest';
import { forget } from '../../daemon/alerts/evidence.js';
import type { Level } from '../../daemon/alerts/judgement.js';
import { MUTES, type MuteRow } from '../../daemon/alerts/relations.js';
import { BookBench } from '../support/book-bench.js';
import { FaultRow, isFull } from './support/row.js';

const TIRE = 'tractor/2/left/outer';
/** Where the rules of a pair meet, by kind of subject; the bench knows every other kind by its own name. */
const SUBJECTS: Record<string, string> = {
  tire: TIRE,
  pair: 'tractor/2/left/pair',
  'wheel-end': 'tractor/2/left',
  lamp: 'lamp/main',
  bus: 'bus/main',
};
const DOWN_MS = isFull ? [1_000, 5_000, 3_600_000, 86_400_000, null] : [5_000, null];
/** Longer than what is muted waits for when the mute ends, and than consequences wait for their causes. */
const AFTER_S = 60;

interface Pair {
  row: MuteRow;
  subject: string;
  causeSubject: string;
  finding: Level;
  causeLevel: Level;
}

const subjectOf = (b: BookBench, rule: MuteRow['mutes']): string => {
  const kind = b.judgement(rule).rule.subject;
  return SUBJECTS[kind] ?? kind;
};

/** The pair with the least finding that it mutes and the worst of its cause; null: one of the two is not judged. */
function pairOf(row: MuteRow): Pair | null {
  const b = new BookBench();
  const levels = (rule: MuteRow['mutes']): Level[] => b.judgement(rule).limits.map(({ level }) => level);
  const finding = levels(row.mutes).filter((level) => level <= row.upTo);
  const causes: Level[] = row.when === 'cranking' ? [3] : levels(row.when).filter((level) => level >= row.least);
  if (finding.length === 0 || causes.length === 0) return null;
  return {
    row,
    subject: subjectOf(b, row.mutes),
    causeSubject: row.when === 'cranking' ? '' : subjectOf(b, row.when),
    finding: Math.min(...finding) as Level,
    causeLevel: Math.max(...causes) as Level,
  };
}

function bench(pair: Pair, b = new BookBench()): BookBench {
  // Who sends the sensor's messages.
  b.judgement(pair.row.mutes).sourceOf = () => pair.causeSubject;
  return b;
}

function setCause(b: BookBench, { row, causeSubject, causeLevel }: Pair, holds: boolean): void {
  if (row.when === 'cranking') b.around = { ...b.around, cranking: holds };
  else b.set(row.when, causeSubject, holds ? causeLevel : 0);
}

const find = (b: BookBench, { row, subject, finding }: Pair): BookBench => b.set(row.mutes, subject, finding);
const heal = (b: BookBench, { row, subject }: Pair): BookBench => b.set(row.mutes, subject, 0);
const raise = (b: BookBench, pair: Pair): number => {
  find(b, pair).tick(AFTER_S);
  return b.events.find((e) => e.rule === pair.row.mutes && e.change === 'raised')!.alert;
};

/** Every state that an alert can be in when the program ends, and whether it is open then. */
const STATES: Record<string, { open: boolean; make: (b: BookBench, pair: Pair) => void }> = {
  'not announced': { open: false, make: (b, p) => void find(b, p) },
  open: { open: true, make: (b, p) => void raise(b, p) },
  taken: { open: true, make: (b, p) => void b.decide(raise(b, p), 'take').tick() },
  snoozed: { open: true, make: (b, p) => void b.decide(raise(b, p), 'snooze', { minutes: 720 }).tick() },
  unsure: {
    open: true,
    make: (b, p) => {
      raise(b, p);
      b.silence(p.row.mutes, p.subject).tick(61);
    },
  },
  chattering: {
    open: true,
    make: (b, p) => {
      raise(b, p);
      for (let k = 0; k < 3; k++) {
        heal(b, p).tick();
        find(b, p).tick();
      }
    },
  },
  'cleared lately': {
    open: false,
    make: (b, p) => {
      raise(b, p);
      heal(b, p).tick(2);
      find(b, p);
    },
  },
  closed: {
    open: false,
    make: (b, p) => {
      b.decide(raise(b, p), 'take').tick();
      b.book.close(() => 'said-repaired');
      b.tick();
      find(b, p);
    },
  },
};

const pairs = MUTES.map(pairOf);
const grid = pairs
  .filter((pair) => pair !== null)
  .flatMap((pair) =>
    Object.entries(STATES).flatMap(([state, { open, make }]) =>
      DOWN_MS.flatMap((downMs) => [false, true].map((late) => ({ pair, state, open, make, downMs, late }))),
    ),
  );

describe('restart with alerts in every state × every suppression pair', () => {
  const row = new FaultRow('restart-suppression', { short: grid.length, full: grid.length });

  test('has every pair whose rules are judged', () => {
    expect(MUTES.filter((_, i) => pairs[i] === null).map(({ when, mutes }) => `${when} → ${mutes}`)).toEqual([]);
  });

  test('nothing muted is announced, nothing acknowledged is raised again', { timeout: row.timeoutMs }, async () => {
    await row.each(({ index }) => {
      const { pair, state, open, make, downMs, late } = grid[index]!;
      const { row: mute, subject } = pair;
      const name = [`${mute.when} → ${mute.mutes}`, state, downMs, late];
      const before = bench(pair);
      make(before, pair);
      setCause(before, pair, true);
      before.tick();
      const ofPair = (b: BookBench): string[] =>
        b.events
          .filter((e) => e.rule === mute.mutes && e.subject === subject)
          .map(({ change, alert }) => `${change} ${alert}`);
      const ordinal = before.book.openDraft(before.t, null).alerts.find((a) => a.rule === mute.mutes)?.alert;
      expect([...name, ordinal !== undefined]).toEqual([...name, open]);

      const b = bench(pair, before.restarted(downMs));
      // Nobody knows for how long: no evidence is left (daemon/pipeline.ts).
      if (downMs === null)
        for (const { subjects } of b.judgements) for (const s of subjects) s.evidence.forEach(forget);
      // Nothing has been heard yet.
      b.tick(15);
      expect([...name, ofPair(b).filter(announces)]).toEqual([...name, []]);
      // The muted subject is judged first; its cause soon after, or later than anybody waits for it: it holds as it did.
      find(b, pair).tick(late ? 40 : 3);
      setCause(b, pair, true);
      b.tick(2 * AFTER_S);
      expect([...name, ofPair(b).filter(announces)]).toEqual([...name, []]);
      // Whatever was acknowledged goes on as it is when the cause is over.
      setCause(b, pair, false);
      find(b, pair).tick(2 * AFTER_S);
      if (open) expect([...name, ofPair(b).filter(announces)]).toEqual([...name, []]);
      const still = b.book.openDraft(b.t, null).alerts.find((a) => a.alert === ordinal);
      if (state === 'taken') expect([...name, still?.taken?.who]).toEqual([...name, 'dispatch desk']);
      // After a restart of unknown length, or when its time is over, a snooze ends; the alert is not a new one.
      if (state === 'snoozed') expect([...name, still !== undefined]).toEqual([...name, true]);
    });
  });
});

const announces = (line: string): boolean => /^(?:raised|worse|reopened) /.test(line);
