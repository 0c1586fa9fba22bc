import { describe, expect, it } from 'vitest';
import type { EmbeddedBroker } from '../../../adapters/mqtt/embedded-broker.js';
import { SeqSet } from '../../../adapters/mqtt/seq-set.js';
import { parseTopic } from '../../../adapters/mqtt/topics.js';
import { EXAMPLE_JSON } from '../../daemon/alerts/drafts.js';
import fc from '../../support/property.js';
import { makeBroker, makeInbox, until } from './harness.js';

const TOPIC = 'axlepost/1/northline/T-1042/event';

function publish(broker: EmbeddedBroker, topic: string, payload: string): void {
  broker.aedes.publish({ cmd: 'publish', topic, payload, qos: 1, retain: false, dup: false }, () => {});
}

describe('the office', () => {
  it('takes who speaks from the topic: a payload that names another is dropped and counted', async () => {
    const broker = await makeBroker();
    const got: string[] = [];
    const dropped: string[] = [];
    const inbox = await makeInbox({
      url: broker.url,
      onEvent: (event, from) => got.push(`${from.fleet}/${from.truck} ${event.seq}`),
      onDropped: (topic, why) => dropped.push(`${topic}: ${why}`),
    });
    publish(broker, 'axlepost/1/northline/T-9/event', EXAMPLE_JSON);
    publish(broker, 'axlepost/1/southline/T-1042/event', EXAMPLE_JSON);
    publish(broker, TOPIC, '{"v":1}');
    publish(broker, TOPIC, EXAMPLE_JSON);
    await until(() => got.length === 1);
    expect(got).toEqual(['northline/T-1042 417']);
    expect(inbox.counts).toEqual({ events: 1, repeated: 0, invalid: 1, foreign: 2 });
    expect(dropped).toHaveLength(3);
  });

  it('tells events apart by fleet, truck, store and seq, and by nothing else', async () => {
    const broker = await makeBroker();
    const got: string[] = [];
    const inbox = await makeInbox({
      url: broker.url,
      onEvent: (e, from) => got.push(`${from.truck} ${e.store} ${e.seq}`),
    });
    const other = EXAMPLE_JSON.replace('"truck":"T-1042"', '"truck":"T-7"');
    for (const boot of [12, 13]) publish(broker, TOPIC, EXAMPLE_JSON.replace('"boot":12', `"boot":${boot}`));
    publish(broker, TOPIC, EXAMPLE_JSON.replaceAll('k3f9q2m1x7ab', 'zzz'));
    publish(broker, 'axlepost/1/northline/T-7/event', other);
    publish(broker, TOPIC, EXAMPLE_JSON.replace('"seq":417', '"seq":416'));
    await until(() => got.length === 4);
    expect(got).toEqual([
      'T-1042 k3f9q2m1x7ab 417',
      'T-1042 zzz 417',
      'T-7 k3f9q2m1x7ab 417',
      'T-1042 k3f9q2m1x7ab 416',
    ]);
    expect(inbox.counts.repeated).toBe(1);
    expect(inbox.receivedUpTo({ fleet: 'northline', truck: 'T-1042' }, 'k3f9q2m1x7ab')).toBe(417);
  });
});

describe('SeqSet', () => {
  it('answers as a plain set does', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 1, max: 60 }), { maxLength: 200 }), (seqs) => {
        const ours = new SeqSet();
        const plain = new Set<number>();
        for (const seq of seqs) {
          expect(ours.add(seq)).toBe(!plain.has(seq));
          plain.add(seq);
        }
        let end = Math.min(...plain);
        while (plain.has(end + 1)) end += 1;
        expect(ours.withoutHole).toBe(plain.size === 0 ? 0 : end);
      }),
    );
  });

  it('stays small when there are holes everywhere', () => {
    const set = new SeqSet(4);
    for (let seq = 1; seq < 100; seq += 2) expect(set.add(seq)).toBe(true);
    expect(set.add(2)).toBe(false);
    expect(set.add(99)).toBe(false);
    expect(set.add(98)).toBe(true);
  });
});

describe('parseTopic', () => {
  it('knows its own topics only', () => {
    expect(parseTopic('axlepost', TOPIC)).toEqual({ fleet: 'northline', truck: 'T-1042', name: 'event' });
    for (const topic of [
      'axlepost/2/a/b/event',
      'axlepost-replay/1/a/b/event',
      'axlepost/1/a/b/c/event',
      'axlepost/1//b/event',
    ]) {
      expect(parseTopic('axlepost', topic)).toBeNull();
    }
  });
});
