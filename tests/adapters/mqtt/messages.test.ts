import { describe, expect, it } from 'vitest';
import type { z } from 'zod';
import { encodeEvent, encodeOpen, encodePresence, encodeReading, thinPoints } from '../../../adapters/mqtt/encode.js';
import {
  eventSchema,
  MAX_EVENT_BYTES,
  MAX_OPEN_BYTES,
  MAX_PRESENCE_BYTES,
  MAX_READING_BYTES,
  openSchema,
  type PresenceMessage,
  parsePayload,
  presenceSchema,
  readingSchema,
} from '../../../adapters/mqtt/messages.js';
import type { EventMessage, OpenMessage, ReadingMessage } from '../../../daemon/alerts/message.js';
import { EXAMPLE_JSON } from '../../daemon/alerts/drafts.js';
import fc from '../../support/property.js';

// What the daemon makes must be what the schemas read: checked by the compiler.
const _event = (message: EventMessage): z.input<typeof eventSchema> => message;
const _open = (message: OpenMessage): z.input<typeof openSchema> => message;
const _reading = (message: ReadingMessage): z.input<typeof readingSchema> => message;
void [_event, _open, _reading];

const example = JSON.parse(EXAMPLE_JSON) as EventMessage;
const size = (json: string): number => Buffer.byteLength(json);

describe('the event schema', () => {
  it('reads the example of the contract and writes it back byte for byte: key order is schema order', () => {
    expect(JSON.stringify(eventSchema.parse(JSON.parse(EXAMPLE_JSON)))).toBe(EXAMPLE_JSON);
    expect(encodeEvent(example)).toEqual({ json: EXAMPLE_JSON, trimmed: false });
  });

  it('ignores keys that it does not know, and takes rules and reasons to come', () => {
    const later = { ...example, colour: 'red', rule: 'some-later-rule', change: 'closed', reason: 'some-later-reason' };
    expect(eventSchema.parse(later)).not.toHaveProperty('colour');
    expect(eventSchema.parse(later).reason).toBe('some-later-reason');
  });

  for (const [what, wrong] of [
    ['another version', { v: 2 }],
    ['a number that is none', { seq: 0 }],
    ['an unknown change', { change: 'exploded' }],
    ['a wildcard as a truck', { truck: '+' }],
    ['a control character', { place: 'a\u0007b' }],
    ['a direction override', { advice: 'a\u202eb' }],
    ['a subject that is not ASCII', { subject: 'tractor/2/lînks' }],
    ['a time zone', { at: '2026-03-02T14:03:11.000+01:00' }],
    ['replay: false', { replay: false }],
  ] as const) {
    it(`refuses ${what}`, () => {
      expect(eventSchema.safeParse({ ...example, ...wrong }).success).toBe(false);
    });
  }
});

describe('parsePayload', () => {
  it('says in one line what is wrong', () => {
    const why = (text: string, max = 4096) => parsePayload(eventSchema, Buffer.from(text), max).error;
    expect(why(EXAMPLE_JSON)).toBeNull();
    expect(why(EXAMPLE_JSON, 100)).toMatch(/^\d+ bytes, more than 100$/);
    expect(why('{')).toBe('not JSON');
    expect(why('null')).toMatch(/^message: /);
    expect(why(EXAMPLE_JSON.replace('"boot":12', '"boot":"12"'))).toMatch(/^boot: /);
  });

  it('never throws, whatever arrives', () => {
    fc.assert(
      fc.property(
        fc.oneof(
          fc.uint8Array(),
          fc.json().map((json) => Buffer.from(json)),
        ),
        (bytes) => {
          for (const schema of [eventSchema, openSchema, presenceSchema, readingSchema])
            parsePayload(schema, bytes, 4096);
        },
      ),
      { numRuns: 300 },
    );
  });
});

/** Any string that JavaScript can hold, lone surrogates included, often long. */
const anyText = fc.oneof(
  fc.string({ unit: 'binary', maxLength: 2000 }),
  fc.string({ unit: fc.constantFrom('"', '\\', '\u0000', '\ud800', '漢', 'é', '😀'), minLength: 500, maxLength: 1500 }),
);
const stamp = fc.constant('2026-03-02T14:03:11.000Z');
const anyNumber = fc.double({ noNaN: true, noDefaultInfinity: true });

const anyEvent: fc.Arbitrary<EventMessage> = fc
  .record({
    texts: fc.array(anyText, { minLength: 14, maxLength: 14 }),
    points: fc.array(fc.tuple(stamp, anyNumber), { maxLength: 40 }),
    numbers: fc.array(anyNumber, { minLength: 8, maxLength: 8 }),
  })
  .map(({ texts, points, numbers }) => ({
    ...example,
    trailer: texts[0]!,
    config: texts[1]!,
    alert: texts[2]!,
    cause: texts[3]!,
    subject: texts[4]!,
    place: texts[5]!,
    who: texts[12]!,
    note: texts[13]!,
    measured: {
      quantity: texts[6]!,
      window: texts[7]!,
      value: numbers[0]!,
      low: numbers[1]!,
      high: numbers[2]!,
      limit: numbers[3]!,
      unit: texts[8]!,
      quality: 'good',
    },
    evidence: { quantity: texts[6]!, unit: texts[8]!, points },
    forecast: { ...example.forecast!, what: texts[9]! },
    advice: texts[10]!,
    basis: texts[11]!,
    vehicle: { speed: numbers[4]!, lat: numbers[5]!, lon: numbers[6]!, age: numbers[7]! },
  }));

describe('sizes', () => {
  it('an event fits 4 KB and the schema, whatever it is made of', () => {
    fc.assert(
      fc.property(anyEvent, (event) => {
        const { json } = encodeEvent(event);
        expect(size(json)).toBeLessThanOrEqual(MAX_EVENT_BYTES);
        const parsed = eventSchema.safeParse(JSON.parse(json));
        expect(parsed.error?.issues ?? []).toEqual([]);
      }),
      { numRuns: 500 },
    );
  });

  it('an event at all its limits in the widest script still fits, and says that it was trimmed', () => {
    const wide = '漢'.repeat(2000);
    const { json, trimmed } = encodeEvent({
      ...example,
      place: wide,
      advice: wide,
      basis: wide,
      who: wide,
      note: wide,
    });
    expect(trimmed).toBe(true);
    expect(size(json)).toBeLessThanOrEqual(MAX_EVENT_BYTES);
    expect(JSON.parse(json)).toMatchObject({ seq: 417, measured: example.measured });
  });

  const openOf = (alerts: number, muted: number, text = 'tractor axle 2, left outer tire'): OpenMessage => ({
    v: 1,
    store: 'k3f9q2m1x7ab',
    asOf: 417,
    at: '2026-03-02T14:03:11.000Z',
    synced: true,
    trailer: null,
    alerts: Array.from({ length: alerts }, (_, n) => ({
      alert: `T-1042.k3f9q2m1x7ab.${n}`,
      cause: null,
      rule: 'tire-hot',
      kind: 'equipment',
      subject: 'tractor/2/left/outer',
      place: text,
      urgency: 'plan',
      unsure: false,
      chattering: false,
      since: '2026-03-02T14:03:11.000Z',
      measured: example.measured,
      taken: { who: text, at: '2026-03-02T14:03:11.000Z' },
      snoozed: { who: text, until: '2026-03-02T14:03:11.000Z' },
    })),
    muted: Array.from({ length: muted }, (_, n) => ({
      rule: 'duals-unequal',
      subject: `tractor/${n}/left/pair`,
      urgency: 'plan',
      by: 'tire-losing-air',
    })),
    more: 0,
  });

  it('an open list that fits is whole', () => {
    const open = openOf(20, 20);
    expect(encodeOpen(open)).toEqual({ json: JSON.stringify(open), trimmed: false });
  });

  it('marked sensors are listed as far as twenty go, and the rest is counted', () => {
    const who = '漢'.repeat(100);
    const marks = Array.from({ length: 50 }, (_, n) => ({
      subject: `trailer/${n}/left/outer`,
      what: 'sensor-bad',
      who,
      until: '2026-03-02T14:03:11.000Z',
    }));
    const { json, trimmed } = encodeOpen({ ...openOf(300, 0), notJudged: marks });
    expect([size(json) <= MAX_OPEN_BYTES, trimmed]).toEqual([true, true]);
    const read = openSchema.parse(JSON.parse(json));
    expect(read.notJudged).toHaveLength(20);
    expect(read.alerts.length).toBeGreaterThan(5);
    expect(read.alerts.length + read.notJudged!.length + read.more).toBe(350);
  });

  it('a longer one keeps the worst and counts the rest', () => {
    fc.assert(
      fc.property(fc.nat(300), fc.nat(300), anyText, (alerts, muted, text) => {
        const { json } = encodeOpen(openOf(alerts, muted, text));
        expect(size(json)).toBeLessThanOrEqual(MAX_OPEN_BYTES);
        const read = openSchema.parse(JSON.parse(json));
        expect(read.alerts.length + read.muted.length + read.more).toBe(alerts + muted);
        expect(read.alerts.map((a) => a.alert)).toEqual(
          openOf(alerts, 0)
            .alerts.slice(0, read.alerts.length)
            .map((a) => a.alert),
        );
        // Alerts go before what is muted.
        if (read.alerts.length < alerts) expect(read.muted).toEqual([]);
      }),
      { numRuns: 60 },
    );
  });

  it('a list that is too long fills its room', () => {
    expect(size(encodeOpen(openOf(300, 0)).json)).toBeGreaterThan(MAX_OPEN_BYTES - 1000);
  });

  /** 18 wheels: a tractor with a steer and two dual axles, a trailer with two dual axles; 10 wheel ends, 4 air subjects. */
  function wheels(): ReadingMessage['r'] {
    const r: ReadingMessage['r'] = {};
    const axles = [
      ['tractor', 1, ['single']],
      ...[2, 3].map((n) => ['tractor', n, ['outer', 'inner']]),
      ...[1, 2].map((n) => ['trailer', n, ['outer', 'inner']]),
    ] as [string, number, string[]][];
    for (const [unit, axle, places] of axles) {
      for (const side of ['left', 'right']) {
        for (const place of places) r[`${unit}/${axle}/${side}/${place}`] = [1034.2, 101.5, 96.4, 120];
        r[`${unit}/${axle}/${side}`] = [57.2, 120];
      }
    }
    for (const air of ['primary', 'secondary', 'supply', 'parking']) r[`air/${air}`] = [868.7, 120];
    return r;
  }

  it('readings of 18 wheels with brakes and air fit 1.5 KB', () => {
    const r = wheels();
    expect(Object.keys(r)).toHaveLength(18 + 10 + 4);
    const { json, trimmed } = encodeReading({ v: 1, at: '2026-03-02T14:03:11.000Z', r });
    expect(trimmed).toBe(false);
    expect(size(json)).toBeLessThanOrEqual(1536);
    expect(JSON.parse(json).r).toEqual(r);
  });

  it('readings of an impossible train are cut and counted', () => {
    const r = Object.fromEntries(Array.from({ length: 500 }, (_, n) => [`trailer/${n}/left/outer`, [689.5, 30, 12]]));
    const { json, trimmed } = encodeReading({ v: 1, at: '2026-03-02T14:03:11.000Z', r });
    const read = readingSchema.parse(JSON.parse(json));
    expect(trimmed).toBe(true);
    expect(size(json)).toBeLessThanOrEqual(MAX_READING_BYTES);
    expect(Object.keys(read.r).length + (read.more ?? 0)).toBe(500);
  });

  it('presence fits 512 bytes whatever is wrong', () => {
    fc.assert(
      fc.property(fc.array(anyText, { maxLength: 20 }), fc.array(anyText, { maxLength: 20 }), (degraded, buses) => {
        const presence: PresenceMessage = {
          v: 1,
          state: 'awake',
          store: '~k3f9q2m1x7abk3f9q2m1x7abk3f9q2m1',
          boot: 123_456,
          version: 'v'.repeat(100),
          config: '9c1e44d0',
          bus: Object.fromEntries(buses.map((name) => [name, name])),
          degraded,
          since: '2026-03-02T14:03:11.000Z',
        };
        const { json } = encodePresence(presence);
        expect(size(json)).toBeLessThanOrEqual(MAX_PRESENCE_BYTES);
        expect(presenceSchema.safeParse(JSON.parse(json)).error?.issues ?? []).toEqual([]);
      }),
      { numRuns: 200 },
    );
  });
});

describe('thinPoints', () => {
  it('keeps order, first, last, lowest and highest', () => {
    fc.assert(
      fc.property(
        fc.array(anyNumber, { minLength: 5, maxLength: 60 }),
        fc.integer({ min: 4, max: 12 }),
        (values, most) => {
          const points = values.map((value, n) => [String(n).padStart(3, '0'), value] as [string, number]);
          const thin = thinPoints(points, most);
          expect(thin.length).toBeLessThanOrEqual(most);
          const kept = thin.map(([, value]) => value);
          expect(kept[0]).toBe(values[0]);
          expect(kept.at(-1)).toBe(values.at(-1));
          expect(Math.min(...kept)).toBe(Math.min(...values));
          expect(Math.max(...kept)).toBe(Math.max(...values));
          const order = thin.map(([when]) => when);
          expect(order).toEqual([...order].sort());
        },
      ),
    );
  });
});
