import { describe, expect, it } from 'vitest';
import { MemoryOutbox, makePublisher, until, upTo } from '../../adapters/mqtt/harness.js';
import { makeLink, type Office, seqsOf } from './harness.js';
import { natsIsInstalled, type OtherBroker, rabbitmqIsInstalled, startNats, startRabbitmq } from './other-brokers.js';

/* Brokers that speak MQTT 3.1.1 only, by other makers: what they lack is as seen of them, not as their manuals have it. */

if (!rabbitmqIsInstalled) console.warn('skipped: the office with rabbitmq needs rabbitmq-server');
if (!natsIsInstalled) console.warn('skipped: the office with nats needs nats-server');

const KEY = { fleet: 'northline', truck: 'T-1042' };
const ONLY_311 = 'this broker speaks MQTT 3.1.1 only: several instances cannot share it, each hears everything';
const NOT_RETAINED =
  'this broker gives no retained messages to wildcard subscriptions: trucks are shown as last heard until they speak';
/** A broker that starts in ten seconds on a machine with nothing else to do. */
const PATIENCE_MS = 120_000;

/** Two offices that would share, a truck that was there before them, and its answers. Gives the offices, and what is retained for them. */
async function shift(broker: OtherBroker): Promise<{ offices: Office[]; heardAtFirst: Set<string> }> {
  const outbox = new MemoryOutbox();
  outbox.append(5);
  const answers: number[] = [];
  const truck = makePublisher(outbox, broker.url, { onAnswer: ({ rev }) => answers.push(rev) });
  truck.start();
  await until(() => outbox.confirmed === 5);
  const offices = [1, 2].map(() => makeLink(broker.url, { sharedGroup: 'desk' }));
  await until(() => offices.every(({ link }) => link.notes.includes(ONLY_311)));
  const first = offices[0]!;
  // The probe has ended: its note has come, or what is retained has.
  await until(() => first.link.notes.includes(NOT_RETAINED) || first.taken.length >= 2);
  const heardAtFirst = new Set(first.taken.map(({ incoming }) => incoming.kind));
  outbox.append(20);
  truck.poke();
  for (const office of offices) await until(() => seqsOf(office).length >= 20);
  for (const office of offices) expect([...new Set(seqsOf(office))]).toEqual(upTo(25).slice(5));
  await first.link.answer(KEY, { v: 1, rev: 1, received: null, trailer: null, decisions: [] });
  await until(() => answers.includes(1));
  await truck.stop(2000);
  await until(() => offices.every((office) => lastPresence(office) === 'offline'));
  // The truck's own subscription has no wildcard: what was said while it was away is there when it comes back.
  await first.link.answer(KEY, { v: 1, rev: 2, received: null, trailer: null, decisions: [] });
  makePublisher(outbox, broker.url, { onAnswer: ({ rev }) => answers.push(rev) }).start();
  await until(() => answers.includes(2));
  return { offices, heardAtFirst };
}

const lastPresence = ({ taken }: Office): string | undefined =>
  taken.flatMap(({ incoming }) => (incoming.kind === 'presence' ? [incoming.message.state] : [])).at(-1);

describe.skipIf(!rabbitmqIsInstalled)('rabbitmq', () => {
  it(
    'MQTT 3.1.1, and nothing retained for wildcards: told so, and all that is said now is heard by both',
    async () => {
      const { offices, heardAtFirst } = await shift(await startRabbitmq());
      for (const { link } of offices) {
        await until(() => link.notes.length === 2);
        expect(link.notes).toEqual([ONLY_311, NOT_RETAINED]);
      }
      expect([...heardAtFirst]).toEqual([]);
    },
    PATIENCE_MS,
  );
});

describe.skipIf(!natsIsInstalled)('nats', () => {
  it(
    'MQTT 3.1.1: told so, what is retained is heard at once, and all that is said now is heard by both',
    async () => {
      const { offices, heardAtFirst } = await shift(await startNats());
      for (const { link } of offices) expect(link.notes).toEqual([ONLY_311]);
      expect([...heardAtFirst].sort()).toEqual(['open', 'presence']);
    },
    PATIENCE_MS,
  );
});
