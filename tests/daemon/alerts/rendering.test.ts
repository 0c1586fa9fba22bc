import { describe, expect, it } from 'vitest';
import type { OpenDraft } from '../../../daemon/alerts/event.js';
import { isoTime } from '../../../daemon/alerts/iso-time.js';
import type { NumberedEvent } from '../../../daemon/alerts/numbered.js';
import { Numberer } from '../../../daemon/alerts/numbering.js';
import { canonicalEvent, eventMessage, openMessage, readingMessage } from '../../../daemon/alerts/rendering.js';
import { roundedTo } from '../../../daemon/alerts/rounding.js';
import fc from '../../support/property.js';
import { EXAMPLE_JSON, EXAMPLE_ZERO, exampleDraft } from './drafts.js';

const run = { zeroWallMs: EXAMPLE_ZERO, synced: true };
const context = { fleet: 'northline', truck: 'T-1042', config: '9c1e44d0', now: EXAMPLE_ZERO + 3_791_000 };
const numbered = (draft = exampleDraft(), change: Partial<NumberedEvent> = {}): NumberedEvent => ({
  seq: 417,
  store: 'k3f9q2m1x7ab',
  boot: 12,
  stored: true,
  alertId: 'T-1042.k3f9q2m1x7ab.401',
  causeId: null,
  draft,
  run,
  by: null,
  ...change,
});

describe('eventMessage', () => {
  it('makes the example of the contract, byte for byte', () => {
    expect(JSON.stringify(eventMessage(numbered(), context))).toBe(EXAMPLE_JSON);
  });

  it('names the configuration and the version that decided it, whatever is in force now', () => {
    const by = { config: '00c0ffee', version: '0.9.9' };
    const message = eventMessage(numbered(exampleDraft(), { by }), context);
    expect(message).toMatchObject(by);
    const keys = Object.keys(message);
    expect(keys.indexOf('version')).toBe(keys.indexOf('config') + 1);
    expect(eventMessage(numbered(), context)).not.toHaveProperty('version');
  });

  it('says that it is a replay, not stored, or why an alert was closed, and only then', () => {
    const plain = eventMessage(numbered(), context);
    expect(plain).not.toHaveProperty('replay');
    expect(plain).not.toHaveProperty('stored');
    expect(plain).not.toHaveProperty('reason');
    const draft = exampleDraft({ change: 'closed', reason: 'sensor-replaced' });
    const odd = eventMessage(numbered(draft, { stored: false, store: '~abc' }), { ...context, replay: true });
    expect(odd).toMatchObject({
      replay: true,
      stored: false,
      store: '~abc',
      change: 'closed',
      reason: 'sensor-replaced',
    });
  });

  it('says whose decision it is, what they wrote and how long a snooze is, in public and in the canonical form', () => {
    const said = { who: 'dispatch desk', note: 'tire ordered', snoozeS: 7200 };
    const draft = exampleDraft({ change: 'snoozed', ...said });
    const keys = ['change', 'who', 'note', 'snoozeS', 'urgency'];
    for (const message of [eventMessage(numbered(draft), context), JSON.parse(canonicalEvent(draft)) as object]) {
      expect(message).toMatchObject(said);
      expect(Object.keys(message).filter((key) => keys.includes(key))).toEqual(keys);
    }
    for (const key of ['who', 'note', 'snoozeS']) expect(canonicalEvent(exampleDraft())).not.toContain(`"${key}"`);
  });

  it('tells how long it was held: whole seconds, 0 when the clock was set back, null when unknown', () => {
    const held = (now: number | null) => eventMessage(numbered(), { ...context, now }).heldS;
    expect(held(context.now + 64_999)).toBe(64);
    expect(held(context.now - 5000)).toBe(0);
    expect(held(null)).toBeNull();
  });

  it('tells nothing measured rather than a number that is none', () => {
    const measured = { quantity: 'pressure', value: Number.NaN, unit: 'kPa', quality: 'good' as const };
    expect(eventMessage(numbered(exampleDraft({ measured })), context).measured).toBeNull();
    const bounds = { ...measured, value: 700.04, low: Number.NEGATIVE_INFINITY, limit: 620 };
    expect(eventMessage(numbered(exampleDraft({ measured: bounds })), context).measured).toEqual({
      quantity: 'pressure',
      value: 700,
      limit: 620,
      unit: 'kPa',
      quality: 'good',
    });
  });

  it('keeps codes and silence as they are', () => {
    const of = (measured: ReturnType<typeof exampleDraft>['measured']) =>
      JSON.stringify(eventMessage(numbered(exampleDraft({ measured })), context).measured);
    expect(of({ code: 2, text: 'over-stroke', of: '2 of 3' })).toBe('{"code":2,"text":"over-stroke","of":"2 of 3"}');
    expect(of({ silentS: 640 })).toBe('{"silentS":640}');
    expect(of(null)).toBe('null');
  });
});

describe('canonicalEvent', () => {
  const line =
    '{"v":1,"trailer":"TR-77","alert":7,"cause":null,"rule":"tire-losing-air","kind":"equipment",' +
    '"subject":"tractor/2/left/outer","change":"worse","urgency":"next-stop","was":"plan","since":3100000,"at":3791000,' +
    '"measured":{"quantity":"leak rate","window":"steady","value":5.4,"low":4.6,"high":6.1,"limit":3.5,"unit":"kPa/min","quality":"good"},' +
    '"evidence":{"quantity":"cold pressure","unit":"kPa","points":[[3660000,689.5]]},' +
    '"forecast":{"what":"80 % of cold pressure","at":5280000,"from":4920000,"to":5760000},' +
    '"vehicle":{"speed":88.1,"lat":41.2,"lon":-96.1,"age":1}}';

  it('is this line for the example: a change here breaks every recorded expectation', () => {
    expect(canonicalEvent(exampleDraft())).toBe(line);
  });

  it('does not change with words, nor with differences below the steps', () => {
    const draft = exampleDraft({ advice: 'other', basis: 'other', place: 'other' });
    const measured = { ...exampleDraft().measured, value: 5.4 + 1e-9, low: 4.6 - 1e-12 } as typeof draft.measured;
    expect(canonicalEvent({ ...draft, measured })).toBe(line);
  });

  it('changes with the time of the decision by one millisecond', () => {
    expect(canonicalEvent(exampleDraft({ t: 3_791_001 }))).not.toBe(line);
  });

  it('names the public keys in the public order', () => {
    const publicKeys = Object.keys(eventMessage(numbered(), context));
    const keys = Object.keys(JSON.parse(line));
    expect(keys).toEqual(publicKeys.filter((key) => keys.includes(key)));
  });
});

describe('roundedTo', () => {
  it('rounds to the step of the unit, halves away from zero, and knows no −0', () => {
    expect(roundedTo('kPa', 689.4757)).toBe(689.5);
    expect(roundedTo('rpm', 2.5)).toBe(3);
    expect(roundedTo('rpm', -2.5)).toBe(-3);
    expect(Object.is(roundedTo('kPa', -0.01), 0)).toBe(true);
    expect(roundedTo('kPa', Number.POSITIVE_INFINITY)).toBeNull();
  });
});

describe('isoTime', () => {
  it('agrees with the host for every instant from 1970 to 9999', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 253_402_300_799_999 }), (ms) => {
        expect(isoTime(ms)).toBe(new Date(ms).toISOString());
      }),
      { numRuns: 2000 },
    );
  });

  it('agrees on the days around every turn of the year and every end of February from 1970 to 2400', () => {
    for (let year = 1970; year <= 2400; year++) {
      for (const [month, day] of [
        [0, 1],
        [1, 28],
        [1, 29],
        [2, 1],
        [11, 31],
      ] as const) {
        const ms = Date.UTC(year, month, day, 23, 59, 59, 999);
        expect(isoTime(ms)).toBe(new Date(ms).toISOString());
      }
    }
  });

  it('clamps what a broken clock says', () => {
    expect(isoTime(-1)).toBe('1970-01-01T00:00:00.000Z');
    expect(isoTime(1e15)).toBe('9999-12-31T23:59:59.999Z');
  });
});

describe('openMessage', () => {
  const open: OpenDraft = {
    t: 3_791_000,
    trailer: null,
    alerts: [
      {
        alert: 7,
        cause: 3,
        rule: 'duals-unequal',
        kind: 'equipment',
        subject: 'tractor/2/left/pair',
        place: 'tractor axle 2, left pair',
        urgency: 'plan',
        unsure: true,
        chattering: false,
        sinceAgoMs: 1000,
        measured: null,
        taken: null,
        snoozed: null,
      },
    ],
    muted: [{ rule: 'duals-unequal', subject: 'tractor/3/left/pair', urgency: 'plan', by: 'tire-losing-air' }],
    notJudged: [],
  };
  const list = { store: 'k3f9q2m1x7ab', asOf: 417, alertIds: ['T-1042.a.1'], causeIds: ['T-1042.a.0'], open, run };

  it('names the alerts by id and the time of the list', () => {
    expect(JSON.stringify(openMessage(list))).toBe(
      '{"v":1,"store":"k3f9q2m1x7ab","asOf":417,"at":"2026-03-02T14:03:11.000Z","synced":true,"trailer":null,' +
        '"alerts":[{"alert":"T-1042.a.1","cause":"T-1042.a.0","rule":"duals-unequal","kind":"equipment",' +
        '"subject":"tractor/2/left/pair","place":"tractor axle 2, left pair","urgency":"plan","unsure":true,' +
        '"chattering":false,"since":"2026-03-02T14:03:10.000Z","measured":null}],' +
        '"muted":[{"rule":"duals-unequal","subject":"tractor/3/left/pair","urgency":"plan","by":"tire-losing-air"}],"more":0}',
    );
  });

  it('says who has taken an alert, until when it is put off, and what is not judged, and only then', () => {
    const taken = { who: 'dispatch desk', agoMs: 60_000 };
    const snoozed = { who: 'A. Ray', leftS: 3600 };
    const until = Date.UTC(2026, 2, 9);
    const alerts = [{ ...open.alerts[0]!, taken, snoozed }];
    const notJudged = [
      { subject: 'tractor/3/left/outer', what: 'sensor-bad' as const, who: 'workshop', untilMs: until },
    ];
    const message = openMessage({ ...list, open: { ...open, alerts, notJudged } });
    expect(message.alerts[0]).toMatchObject({
      taken: { who: 'dispatch desk', at: '2026-03-02T14:02:11.000Z' },
      snoozed: { who: 'A. Ray', until: '2026-03-02T15:03:11.000Z' },
    });
    expect(message.notJudged).toEqual([
      { subject: 'tractor/3/left/outer', what: 'sensor-bad', who: 'workshop', until: '2026-03-09T00:00:00.000Z' },
    ]);
  });

  it('reads lists that an earlier version has stored', () => {
    const { notJudged: _, ...old } = open;
    const { taken: __, snoozed: ___, ...alert } = open.alerts[0]!;
    const stored = { ...old, alerts: [alert] } as unknown as OpenDraft;
    expect(openMessage({ ...list, open: stored })).toEqual(openMessage(list));
  });

  it('throws when an id is missing', () => {
    expect(() => openMessage({ ...list, alertIds: [] })).toThrow(/without an id/);
  });
});

describe('readingMessage', () => {
  it('stamps the readings and leaves them alone', () => {
    const r = { 'tractor/1/left/single': [827.4, 31.5, null, 12] };
    expect(readingMessage({ t: 60_000, r }, run, { replay: true })).toEqual({
      v: 1,
      replay: true,
      at: '2026-03-02T13:01:00.000Z',
      r,
    });
  });
});

describe('Numberer', () => {
  it('numbers from 1 without a hole; an alert keeps the number of its first event; a cause may come later in its tick', () => {
    const by = { config: '9c1e44d0', version: '0.1.0' };
    const numberer = new Numberer({ truck: 'T-1042', store: 'r1' });
    const first = numberer.number(
      [exampleDraft({ alert: 5, cause: 6 }), exampleDraft({ alert: 6, change: 'raised' })],
      run,
      by,
    );
    const second = numberer.number([exampleDraft({ alert: 5, cause: 9, change: 'cleared' })], run, by);
    expect([...first, ...second].map((e) => e.by)).toEqual([by, by, by]);
    expect(first.map((e) => [e.seq, e.alertId, e.causeId])).toEqual([
      [1, 'T-1042.r1.1', 'T-1042.r1.2'],
      [2, 'T-1042.r1.2', null],
    ]);
    expect(second.map((e) => [e.seq, e.alertId, e.causeId])).toEqual([[3, 'T-1042.r1.1', null]]);
    expect(numberer.lastSeq).toBe(3);
  });
});
