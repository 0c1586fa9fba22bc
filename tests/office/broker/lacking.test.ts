import { describe, expect, it } from 'vitest';
import { until } from '../../adapters/mqtt/harness.js';
import { ACCEPT_5, ACCEPT_311, startStubBroker } from '../../adapters/mqtt/stub-broker.js';
import { makeLink } from './harness.js';

/* What a broker may lack, by the standard: properties of CONNACK (MQTT 5.0 §3.2.2.3) and codes of SUBACK (§3.9.3). */

const RETAIN_AVAILABLE = 0x25;
const WILDCARDS_AVAILABLE = 0x28;
const SHARED_AVAILABLE = 0x2a;
const NOT_AUTHORIZED = 0x87;
const SHARED_NOT_SUPPORTED = 0x9e;

const without = (...properties: number[]): number[] => {
  const list = properties.flatMap((property) => [property, 0]);
  return [0, 0, list.length, ...list];
};
const sorted = (names: string[]): string[] =>
  names.map((name) => (name.includes('/') ? name : `axlepost/1/northline/+/${name}`)).sort();
const ALL = sorted(['presence', 'open', 'reading', 'event', 'trip', 'gap']);
const SHARED = ['event', 'trip', 'gap'].map((name) => `$share/desk/axlepost/1/northline/+/${name}`);
/** Filters asked for, without the probe's. */
const asked = (filters: string[][]): string[] => filters.flat().filter((filter) => !filter.includes('office-probe'));

describe('shared subscriptions', () => {
  it('are used where the broker has them, for what needs one hearer only', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5 });
    const { link } = makeLink(stub.url, { sharedGroup: 'desk' });
    await until(() => asked(stub.filters).length >= 6);
    expect(asked(stub.filters).sort()).toEqual([...sorted(['presence', 'open', 'reading']), ...SHARED].sort());
    expect(link.notes).toEqual([]);
  });

  it('are not asked for where the broker says that it has none', async () => {
    const stub = await startStubBroker({ connack: () => without(SHARED_AVAILABLE) });
    const { link } = makeLink(stub.url, { sharedGroup: 'desk' });
    await until(() => link.notes.length > 0);
    expect(asked(stub.filters).sort()).toEqual(ALL);
    expect(link.notes).toEqual([
      'this broker has no shared subscriptions: several instances cannot share it, each hears everything',
    ]);
  });

  it('that are refused one by one are made plain ones', async () => {
    const suback = (filter: string) => (filter.startsWith('$share') ? SHARED_NOT_SUPPORTED : 1);
    const stub = await startStubBroker({ connack: () => ACCEPT_5, suback });
    const { link } = makeLink(stub.url, { sharedGroup: 'desk' });
    await until(() => link.notes.length > 0);
    expect(
      asked(stub.filters)
        .filter((filter) => !filter.startsWith('$share'))
        .sort(),
    ).toEqual(ALL);
    expect(link.notes[0]).toMatch(/^this broker has no shared subscriptions/);
  });

  it('are never asked for in MQTT 3.1.1, where such a filter is one for nothing', async () => {
    const stub = await startStubBroker({ connack: (version) => (version === 5 ? null : ACCEPT_311) });
    const { link } = makeLink(stub.url, { sharedGroup: 'desk' });
    await until(() => link.isConnected && link.notes.length > 0);
    expect(stub.versions).toEqual([5, 4]);
    expect(asked(stub.filters).sort()).toEqual(ALL);
    expect(link.notes).toEqual([
      'this broker speaks MQTT 3.1.1 only: several instances cannot share it, each hears everything',
    ]);
  });

  it('are no matter for one instance', async () => {
    const stub = await startStubBroker({ connack: () => without(SHARED_AVAILABLE) });
    const { link } = makeLink(stub.url);
    await until(() => asked(stub.filters).length === 6);
    expect(link.notes).toEqual([]);
  });
});

describe('rights', () => {
  it('what the account may not hear is told, and asked for again until it may', async () => {
    let mayHear = false;
    const suback = (filter: string) => (filter.endsWith('/event') && !mayHear ? NOT_AUTHORIZED : 1);
    const stub = await startStubBroker({ connack: () => ACCEPT_5, suback });
    const { link } = makeLink(stub.url);
    await until(() => link.notes.length > 0);
    expect(link.notes).toEqual([
      'the broker does not let the office hear axlepost/1/northline/+/event: give its user the right to read them',
    ]);
    mayHear = true;
    await until(() => link.notes.length === 0);
    expect(asked(stub.filters).at(-1)).toBe('axlepost/1/northline/+/event');
    expect(asked(stub.filters).length).toBeGreaterThan(6);
  });

  it('of many filters that are refused a few are named', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5, suback: () => NOT_AUTHORIZED });
    const { link } = makeLink(stub.url);
    await until(() => link.notes.length > 0);
    expect(link.notes[0]).toMatch(/hear \S+presence, \S+open, \S+reading and 3 more: give/);
  });
});

describe('wildcards and retained messages', () => {
  it('a broker that takes no wildcards: no truck can be heard, and the board says so', async () => {
    const stub = await startStubBroker({ connack: () => without(WILDCARDS_AVAILABLE) });
    const { link } = makeLink(stub.url);
    await until(() => link.notes.length > 0);
    expect(link.notes).toEqual(['this broker takes no subscriptions with wildcards: no truck can be heard']);
    expect(stub.filters).toEqual([]);
  });

  it('a broker that retains nothing: answers go out unretained, and the board says so', async () => {
    const stub = await startStubBroker({ connack: () => without(RETAIN_AVAILABLE) });
    const { link } = makeLink(stub.url);
    await until(() => link.notes.length > 0);
    expect(link.notes).toEqual([
      'this broker keeps no retained messages: trucks are shown as last heard until they speak, and a truck that is away gets its answer only after that',
    ]);
    const answer = { v: 1 as const, rev: 1, received: null, trailer: null, decisions: [] };
    await link.answer({ fleet: 'northline', truck: 'T-1042' }, answer);
    expect(stub.payloads).toEqual([JSON.stringify(answer)]);
    expect(stub.retained).toEqual([false]);
  });

  it('where the probe is refused nothing is claimed', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5, puback: () => NOT_AUTHORIZED });
    const { link } = makeLink(stub.url);
    // The probe's first message, and the one that takes it away.
    await until(() => stub.payloads.length === 2);
    expect(stub.payloads[1]).toBe('');
    expect(link.notes).toEqual([]);
  });
});

it('many fleets are asked for in several packets; one filter for all makes the others needless', async () => {
  const stub = await startStubBroker({ connack: () => ACCEPT_5 });
  const fleets = Array.from({ length: 60 }, (_, index) => `fleet-${index}`);
  makeLink(stub.url, { fleets });
  await until(() => asked(stub.filters).length === 360);
  expect(Math.max(...stub.filters.map((some) => some.length))).toBe(100);
  const all = await startStubBroker({ connack: () => ACCEPT_5 });
  makeLink(all.url, { fleets: ['northline', '+'] });
  await until(() => asked(all.filters).length >= 6);
  expect(asked(all.filters).every((filter) => filter.startsWith('axlepost/1/+/+/'))).toBe(true);
});
