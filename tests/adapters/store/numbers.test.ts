import { describe, expect, test } from 'vitest';
import type { EventDraft } from '../../../daemon/alerts/event.js';
import { codeOf, commit, draft, openAlert, openDatabase, openDraft, optionsIn, tempDir } from './helpers.js';

/** Alert ids, seq and ordinals as design.md, "Numbers", says. */
describe('numbers', () => {
  test('a store id is 12 letters or digits, and differs between databases', () => {
    const ids = [1, 2, 3].map(() => openDatabase(optionsIn(tempDir())).opened.store);
    for (const id of ids) expect(id).toMatch(/^[a-z0-9]{12}$/);
    expect(new Set(ids).size).toBe(3);
  });

  test('seq counts from 1 without a hole, over commits, failures and restarts', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    const a = first.commit([commit({ events: [draft(1, 'raised'), draft(2, 'raised')] })])[0] ?? [];
    expect(a.map((e) => e.seq)).toEqual([1, 2]);
    // An event that cannot be stored (our bug: no rule) takes no number.
    const bad = { ...draft(3, 'raised'), rule: null } as unknown as EventDraft;
    expect(codeOf(() => first.commit([commit({ events: [draft(1, 'worse'), bad] })]))).toBe('store-bug');
    first.close();
    const second = openDatabase(options);
    expect(second.opened.lastSeq).toBe(2);
    expect(second.opened.store).toBe(first.opened.store);
    const b = second.commit([commit({ events: [draft(1, 'worse')] })])[0] ?? [];
    expect(b[0]).toMatchObject({ seq: 3, boot: 2, store: first.opened.store, stored: true });
  });

  test('an alert id is <truck>.<store>.<seq of raised>, kept by every later change and over a restart', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    const [events = []] = first.commit([commit({ events: [draft(7, 'raised'), draft(9, 'raised')] })]);
    const { store } = first.opened;
    expect(events.map((e) => e.alertId)).toEqual([`T-1042.${store}.1`, `T-1042.${store}.2`]);
    first.close();
    const second = openDatabase(options);
    const changes = ['worse', 'unsure', 'cleared', 'reopened', 'cleared'] as const;
    for (const change of changes) {
      const [[event] = []] = second.commit([commit({ events: [draft(9, change)] })]);
      expect([change, event?.alertId]).toEqual([change, `T-1042.${store}.2`]);
    }
  });

  test('a cause has its id, also when it is raised later in the same tick', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const [events = []] = db.commit([
      commit({ events: [draft(1, 'raised', { cause: 2 }), draft(2, 'raised'), draft(3, 'raised', { cause: 99 })] }),
    ]);
    expect(events.map((e) => e.causeId)).toEqual([`T-1042.${db.opened.store}.2`, null, null]);
    expect(db.outbox(0, 9).map((e) => e.causeId)).toEqual([`T-1042.${db.opened.store}.2`, null, null]);
  });

  test('a change of an alert that this database never saw raised gives it an id of its own', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const [events = []] = db.commit([commit({ events: [draft(5, 'worse'), draft(5, 'cleared')] })]);
    expect(events.map((e) => e.alertId)).toEqual([`T-1042.${db.opened.store}.1`, `T-1042.${db.opened.store}.1`]);
  });

  test('an open alert that this database never saw is raised anew, before the events of the commit', () => {
    const db = openDatabase(optionsIn(tempDir()));
    const open = openDraft([openAlert(4, { cause: 3, urgency: 'next-stop' }), openAlert(3)], 58_000);
    const [events = []] = db.commit([commit({ t: 60_000, events: [draft(8, 'raised')], open })]);
    expect(events.map((e) => [e.seq, e.draft.alert, e.draft.change])).toEqual([
      [1, 4, 'raised'],
      [2, 3, 'raised'],
      [3, 8, 'raised'],
    ]);
    expect(events[0]).toMatchObject({
      causeId: `T-1042.${db.opened.store}.2`,
      draft: { urgency: 'next-stop', sinceAgoMs: 7_000, trailer: 'TR-77' },
    });
    expect(db.open()).toMatchObject({
      asOf: 3,
      alertIds: [`T-1042.${db.opened.store}.1`, `T-1042.${db.opened.store}.2`],
      causeIds: [`T-1042.${db.opened.store}.2`, null],
    });
    expect(db.commit([commit({ open })])).toEqual([[]]);
  });

  test('a pipeline that lost its state counts from 1 again: its alerts get new ids, the old ones are marked lost', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised'), draft(2, 'raised'), draft(3, 'raised')] })]);
    first.commit([commit({ events: [draft(3, 'cleared')] })]);
    first.close();
    const second = openDatabase(options);
    const [events = []] = second.commit([commit({ events: [draft(1, 'raised')], open: openDraft([openAlert(1)]) })]);
    expect(events[0]?.alertId).toBe(`T-1042.${second.opened.store}.5`);
    const states = second.connection.prepare('SELECT seq, state FROM alerts ORDER BY seq').all();
    expect(states).toEqual([
      { seq: 1, state: 'lost' },
      { seq: 2, state: 'lost' },
      { seq: 3, state: 'ended' },
      { seq: 5, state: 'open' },
    ]);
  });

  test('the table of alerts follows: state, how it ended, worst urgency, number of events', () => {
    const db = openDatabase(optionsIn(tempDir()));
    db.commit([commit({ events: [draft(1, 'raised'), draft(2, 'raised')] })]);
    db.commit([commit({ events: [draft(1, 'worse', { urgency: 'pull-over' })] })]);
    db.commit([commit({ events: [draft(1, 'better', { urgency: 'plan' })] })]);
    db.commit([commit({ events: [draft(2, 'closed', { reason: 'sensor-replaced' })] })]);
    const rows = db.connection.prepare('SELECT seq, state, how, urgency, worst, events, last_seq FROM alerts').all();
    expect(rows).toEqual([
      { seq: 1, state: 'open', how: null, urgency: 'plan', worst: 'pull-over', events: 3, last_seq: 4 },
      { seq: 2, state: 'ended', how: 'sensor-replaced', urgency: 'plan', worst: 'plan', events: 2, last_seq: 5 },
    ]);
  });

  test('a second program that opens the file for writing takes it over; the first says so and gives no number', () => {
    const options = optionsIn(tempDir());
    const first = openDatabase(options);
    first.commit([commit({ events: [draft(1, 'raised')] })]);
    const second = openDatabase(options);
    expect(codeOf(() => first.commit([commit({ events: [draft(1, 'worse')] })]))).toBe('store-taken');
    const [events = []] = second.commit([commit({ events: [draft(1, 'worse')] })]);
    expect(events[0]?.seq).toBe(2);
  });
});
