import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import type { Level } from '../../../daemon/alerts/judgement.js';
import { MUTES } from '../../../daemon/alerts/relations.js';
import { BookBench } from '../../support/book-bench.js';

const TIRE = 'tractor/2/left/outer';
const PAIR = 'tractor/2/left/pair';
const AIR = 'air/service';

interface Mute {
  cause: RuleName | 'cranking';
  causeSubject: string;
  level: Level;
  /** A level of the cause that does not mute; 0: it is over. */
  tooLow: Level;
  mutes: RuleName;
  subject: string;
  finding: Level;
  /** A worse finding that is not muted; 0: there is none. */
  beyond: Level;
}

/** design.md, "Muting", row by row, for the rules that are judged. */
const TABLE: Mute[] = [
  mute('tire-losing-air', TIRE, 2, 1, 'duals-unequal', PAIR, 1),
  mute('tire-losing-air', 'tractor/2/left/inner', 3, 1, 'duals-unequal', PAIR, 1),
  mute('tire-losing-air', TIRE, 2, 1, 'tire-underinflated', TIRE, 1, 2),
  mute('tire-losing-air', TIRE, 3, 1, 'tire-underinflated', TIRE, 1, 3),
  mute('air-low', AIR, 3, 0, 'circuits-unequal', AIR, 2),
  mute('cranking', '', 3, 0, 'air-low', AIR, 3),
  mute('cranking', '', 3, 0, 'circuits-unequal', AIR, 2),
];
const SILENCE = mute('bus-silent', 'bus/main', 1, 0, 'tire-sensor-silent', TIRE, 1);

function mute(
  cause: Mute['cause'],
  causeSubject: string,
  level: Level,
  tooLow: Level,
  mutes: RuleName,
  subject: string,
  finding: Level,
  beyond: Level = 0,
): Mute {
  return { cause, causeSubject, level, tooLow, mutes, subject, finding, beyond };
}

function setCause(b: BookBench, m: Mute, level: Level): void {
  if (m.cause === 'cranking') b.around = { ...b.around, cranking: level > 0 };
  else b.set(m.cause, m.causeSubject, level);
}
/** What was said of the muted rule. */
const said = (m: Mute, lines: string[]) =>
  lines.filter((line) => line.includes(` ${m.mutes} `)).map((line) => line.split(' ').slice(0, 2).join(' '));
const NAMES = ['', 'plan', 'next-stop', 'pull-over'];
const rows = TABLE.map((m) => [`${m.cause} mutes ${m.mutes} (${NAMES[m.finding]})`, m] as const);

it('the table has the rows of design.md and no others', () => {
  const written = MUTES.map((row) => `${row.when}${row.least > 1 ? ` ${NAMES[row.least]}` : ''} → ${row.mutes}`);
  const air = ['air-low', 'air-leaking', 'air-builds-slowly', 'air-cut-in-low', 'air-cut-out-high'];
  expect(written).toEqual([
    ...['tire-sensor-silent', 'tire-sensor-fault', 'brake-sensor-fault', 'source-silent', 'trailer-not-seen'].map(
      (r) => `bus-silent → ${r}`,
    ),
    'source-silent → tire-sensor-silent',
    ...['duals-unequal', 'tire-underinflated'].map((r) => `tire-losing-air next-stop → ${r}`),
    ...['circuits-unequal', 'air-leaking', 'compressor-overworked'].map((r) => `air-low → ${r}`),
    ...[...air, 'compressor-overworked', 'circuits-unequal'].map((r) => `cranking → ${r}`),
  ]);
});

describe.each(rows)('%s', (_, m) => {
  it('withholds raised, lists the finding, and announces it 30 s after the mute ends', () => {
    const b = new BookBench();
    setCause(b, m, m.level);
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick(100))).toEqual([]);
    const listed = b.book.openDraft(b.t, null).muted;
    const by = m.cause === 'cranking' ? 'air-low' : m.cause;
    expect(listed).toEqual([{ rule: m.mutes, subject: m.subject, urgency: NAMES[m.finding], by }]);
    setCause(b, m, m.tooLow);
    expect(said(m, b.tick(29))).toEqual([]);
    expect(b.book.openDraft(b.t, null).muted).toEqual([]);
    expect(said(m, b.tick(2))).toEqual([`raised ${NAMES[m.finding]}`]);
  });

  it('says nothing when the finding is over before', () => {
    const b = new BookBench();
    setCause(b, m, m.level);
    b.set(m.mutes, m.subject, m.finding).tick(50);
    setCause(b, m, m.tooLow);
    b.tick(20);
    b.set(m.mutes, m.subject, 0);
    expect(said(m, b.tick(100))).toEqual([]);
    // What begins long after the mute is announced at once.
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick())).toEqual([`raised ${NAMES[m.finding]}`]);
  });

  it('leaves what was announced: it may clear, become unsure and sure', () => {
    const b = new BookBench();
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick())).toEqual([`raised ${NAMES[m.finding]}`]);
    setCause(b, m, m.level);
    expect(said(m, b.tick(10))).toEqual([]);
    expect(b.book.openDraft(b.t, null).muted).toEqual([]);
    b.silence(m.mutes, m.subject);
    expect(said(m, b.tick(61))).toEqual([`unsure ${NAMES[m.finding]}`]);
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick())).toEqual([`sure ${NAMES[m.finding]}`]);
    b.set(m.mutes, m.subject, 0);
    expect(said(m, b.tick(2))).toEqual([`cleared ${NAMES[m.finding]}`]);
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick(2))).toEqual([]);
    setCause(b, m, 0);
    expect(said(m, b.tick(31))).toEqual([`reopened ${NAMES[m.finding]}`]);
  });

  it('is never latched: it follows the cause from tick to tick', () => {
    const b = new BookBench();
    b.set(m.mutes, m.subject, m.finding);
    for (let k = 0; k < 5; k++) {
      setCause(b, m, m.level);
      expect(said(m, b.tick(3))).toEqual([]);
      setCause(b, m, 0);
      expect(said(m, b.tick(25))).toEqual([]);
    }
    expect(said(m, b.tick(10))).toEqual([`raised ${NAMES[m.finding]}`]);
  });
});

describe.each(rows.filter(([, m]) => m.beyond > 0))('%s', (_, m) => {
  it('does not reach a worse finding, also when the lesser one was muted a moment ago', () => {
    const b = new BookBench();
    setCause(b, m, m.level);
    b.set(m.mutes, m.subject, m.finding).tick(20);
    b.set(m.mutes, m.subject, m.beyond);
    expect(said(m, b.tick())).toEqual([`raised ${NAMES[m.beyond]}`]);
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick())).toEqual([`better ${NAMES[m.finding]}`]);
  });
});

describe('scopes', () => {
  it('a leak mutes its own tire and its own pair only', () => {
    const b = new BookBench();
    b.set('tire-losing-air', TIRE, 3).set('tire-underinflated', 'tractor/2/left/inner', 1);
    b.set('duals-unequal', 'tractor/2/right/pair', 1);
    expect(b.tick()).toEqual([
      'raised plan tire-underinflated tractor/2/left/inner',
      `raised pull-over tire-losing-air ${TIRE}`,
      'raised plan duals-unequal tractor/2/right/pair',
    ]);
  });
});

describe('silence', () => {
  const m = SILENCE;

  it('evidence of silence rules is held at zero while the bus is silent', () => {
    const b = new BookBench();
    const reset: string[] = [];
    b.judgement(m.mutes).onReset = (s) => reset.push(s.name);
    setCause(b, m, m.level);
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick())).toEqual([]);
    expect(reset).toHaveLength(18);
    setCause(b, m, 0);
    // Nothing holds at the end of the mute: it would have to be found anew.
    expect(said(m, b.tick(100))).toEqual([]);
  });

  it('what was announced stays, and may clear', () => {
    const b = new BookBench();
    b.set(m.mutes, m.subject, m.finding).tick();
    setCause(b, m, m.level);
    expect(said(m, b.tick(60))).toEqual([]);
    expect(b.book.openDraft(b.t, null).alerts.map((a) => a.rule)).toContain(m.mutes);
    b.set(m.mutes, m.subject, 0);
    expect(said(m, b.tick())).toEqual(['cleared plan']);
  });
});

describe('restart', () => {
  /** Each pair with its muted finding not announced, open, unsure, chattering, cleared lately, or closed. */
  const states: [string, (b: BookBench, m: Mute) => void][] = [
    ['not announced', (b, m) => void b.set(m.mutes, m.subject, m.finding)],
    [
      'cleared lately',
      (b, m) => {
        b.set(m.mutes, m.subject, m.finding).tick();
        b.set(m.mutes, m.subject, 0).tick();
        b.set(m.mutes, m.subject, m.finding);
      },
    ],
    [
      'closed',
      (b, m) => {
        b.set(m.mutes, m.subject, m.finding).tick();
        b.book.close(() => 'said-repaired');
        b.tick();
        b.set(m.mutes, m.subject, m.finding);
      },
    ],
    [
      'open',
      (b, m) => {
        b.set(m.mutes, m.subject, m.finding).tick();
      },
    ],
    [
      'unsure',
      (b, m) => {
        b.set(m.mutes, m.subject, m.finding).tick();
        b.silence(m.mutes, m.subject).tick(61);
      },
    ],
    [
      'chattering',
      (b, m) => {
        b.set(m.mutes, m.subject, m.finding).tick();
        for (let k = 0; k < 3; k++) {
          b.set(m.mutes, m.subject, 0).tick();
          b.set(m.mutes, m.subject, m.finding).tick();
        }
      },
    ],
  ];
  const grid = rows.flatMap(([name, m]) =>
    states.flatMap(([state, make]) => [5_000, 3_600_000].map((downMs) => [name, state, downMs, m, make] as const)),
  );

  it.each(grid)('%s, %s, after %d ms: nothing muted is announced', (_, __, downMs, m, make) => {
    const before = new BookBench();
    make(before, m);
    if (m.cause === 'cranking') before.around = { ...before.around, cranking: true };
    else before.set(m.cause, m.causeSubject, m.level);
    before.tick();
    const open = before.book.openDraft(before.t, null).alerts.map((a) => a.alert);
    const b = before.restarted(downMs);
    // Nothing has been heard yet.
    expect(b.tick(30)).toEqual([]);
    // The muted subject is judged first: the cause holds as it was.
    b.set(m.mutes, m.subject, m.finding);
    expect(said(m, b.tick(5)).filter((s) => !s.startsWith('sure'))).toEqual([]);
    setCause(b, m, m.level);
    expect(said(m, b.tick(60)).filter((s) => !s.startsWith('sure'))).toEqual([]);
    expect(b.book.openDraft(b.t, null).alerts.map((a) => a.alert)).toEqual(open);
  });
});
