import { describe, expect, test } from 'vitest';
import { MAX_OUTBOX_ROWS } from '../../../adapters/store/database.js';
import { commit, draft, openAlert, openDatabase, openDraft, optionsIn, seeded, tempDir } from './helpers.js';

describe('outbox', () => {
  test('gives back what was committed, in order of seq, after a number and up to a limit', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const numbered = db.commit([
      commit({ events: [draft(2, 'raised'), draft(1, 'raised', { cause: 2 })] }),
      commit({
        events: [
          draft(2, 'worse', {
            urgency: 'pull-over',
            was: 'plan',
            forecast: { what: 'flat', inMs: 1, fromMs: 0, toMs: 2 },
          }),
        ],
      }),
    ]);
    expect(db.outbox(0, 10)).toEqual(numbered.flat());
    expect(db.outbox(1, 1).map((e) => e.seq)).toEqual([2]);
    expect(db.outbox(3, 10)).toEqual([]);
    expect(db.outbox(0, -1)).toEqual([]);
  });

  test('one answer is bounded', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit([commit({ events: Array.from({ length: MAX_OUTBOX_ROWS + 5 }, (_, n) => draft(n + 1, 'raised')) })]);
    expect(db.outbox(0, 1e9)).toHaveLength(MAX_OUTBOX_ROWS);
    expect(db.outbox(MAX_OUTBOX_ROWS, 1e9)).toHaveLength(5);
  });

  test('confirm is cumulative and idempotent, and survives a restart', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ events: [1, 2, 3, 4, 5].map((n) => draft(n, 'raised')) })]);
    first.confirm(3);
    first.confirm(3);
    first.confirm(1);
    first.confirm(0);
    expect(first.outbox(0, 10).map((e) => e.seq)).toEqual([4, 5]);
    expect(first.stats()).toMatchObject({ outbox: 2, oldestSeq: 4 });
    first.close();
    const second = openDatabase(options);
    expect(second.outbox(0, 10).map((e) => e.seq)).toEqual([4, 5]);
    second.confirm(5);
    expect(second.stats()).toMatchObject({ outbox: 0, oldestSeq: null });
    expect(second.connection.prepare('SELECT count(*) AS n FROM events').get()).toEqual({ n: 5 });
  });

  test('a number that was received and never given: the database is older, and another store begins with what is open', () => {
    const options = optionsIn(tempDir());
    const db = openDatabase(options);
    db.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]) })]);
    const before = db.opened.store;
    db.confirm(2);
    expect(db.opened.store).not.toBe(before);
    expect(db.opened.notes[0]).toMatch(/number 2 was received, the last one given is 1: this database is older.*moved/);
    // Its number 1 is another one, by the store that it is of.
    expect(db.outbox(0, 10)).toMatchObject([
      { seq: 1, store: db.opened.store, draft: { rule: draft(1, 'raised').rule } },
    ]);
    expect(db.gaps()).toMatchObject([{ fromSeq: 0, what: `events of store ${before} that were not received` }]);
    db.confirm(1);
    expect(db.stats().outbox).toBe(0);
  });

  test('any mixture of commits, confirmations, reads and restarts agrees with a list in memory', () => {
    const random = seeded('outbox');
    const options = optionsIn(tempDir());
    let db = openDatabase(options);
    let model: number[] = [];
    let last = 0;
    for (let step = 0; step < 300; step++) {
      const choice = random();
      if (choice < 0.5) {
        const size = Math.floor(random() * 4);
        const events = Array.from({ length: size }, () =>
          draft(1 + Math.floor(random() * 20), random() < 0.3 ? 'raised' : 'worse'),
        );
        const [numbered = []] = db.commit([commit({ t: step * 1000, events })]);
        for (const event of numbered) model.push(event.seq);
        expect(numbered.map((e) => e.seq)).toEqual(Array.from({ length: size }, (_, n) => last + 1 + n));
        last += size;
      } else if (choice < 0.7) {
        const seq = Math.floor(random() * (last + 1));
        db.confirm(seq);
        model = model.filter((n) => n > seq);
      } else if (choice < 0.95) {
        const after = Math.floor(random() * (last + 1));
        const limit = Math.floor(random() * 10);
        expect(db.outbox(after, limit).map((e) => e.seq)).toEqual(model.filter((n) => n > after).slice(0, limit));
      } else {
        db.close();
        db = openDatabase(options);
        expect(db.opened.lastSeq).toBe(last);
      }
    }
    expect(db.stats()).toMatchObject({ outbox: model.length, oldestSeq: model[0] ?? null });
  });
});
