import { once } from 'node:events';
import { describe, expect, it } from 'vitest';
import type { PresenceMessage } from '../../../adapters/mqtt/messages.js';
import { MemoryOutbox, makeInbox, makePublisher, until } from './harness.js';
import { folder, freePort, mosquittoIsInstalled, startMosquitto } from './mosquitto.js';

if (!mosquittoIsInstalled) console.warn('skipped: the publisher against a broker of its own process needs mosquitto');

const plain = (port: number): string[] => [`listener ${port} 127.0.0.1`, 'allow_anonymous true'];

describe.skipIf(!mosquittoIsInstalled)('against mosquitto', () => {
  it('speaks MQTT 5; killed in the middle, it gets everything that it had not acknowledged again', async () => {
    const directory = folder();
    const port = await freePort();
    const url = `mqtt://127.0.0.1:${port}`;
    const first = await startMosquitto(directory, plain(port));
    const outbox = new MemoryOutbox();
    outbox.append(2000);
    const seen: number[] = [];
    const states: PresenceMessage['state'][] = [];
    await makeInbox({ url, onEvent: (event) => seen.push(event.seq), onPresence: (p) => states.push(p.state) });
    const publisher = makePublisher(outbox, url);
    publisher.start();
    await until(() => outbox.confirmed >= 300);
    first.kill('SIGKILL');
    await once(first, 'exit');
    const before = outbox.confirmed;
    expect(before).toBeLessThan(2000);
    await startMosquitto(directory, plain(port));
    await until(() => outbox.confirmed === 2000);
    expect(publisher.health()).toMatchObject({ protocolVersion: 5, connects: 2 });
    expect(seen).toEqual([...seen].sort((a, b) => a - b));
    await publisher.stop(2000);
    await until(() => states.at(-1) === 'offline');
  });

  it('a second program of the same name: the will of the first goes out, the last word is awake', async () => {
    const directory = folder();
    const port = await freePort();
    await startMosquitto(directory, plain(port));
    const url = `mqtt://127.0.0.1:${port}`;
    const states: PresenceMessage['state'][] = [];
    await makeInbox({ url, onPresence: (p) => states.push(p.state) });
    const truck = new MemoryOutbox();
    truck.append(3);
    const publisher = makePublisher(truck, url);
    publisher.start();
    await until(() => truck.confirmed === 3);
    // The same client id from elsewhere: MQTT 5.0 §3.1.4, the first connection is closed and its will published.
    const other = makePublisher(new MemoryOutbox(), url, {
      timings: { backoff: { minMs: 60_000, maxMs: 60_000, stableMs: 1 } },
    });
    other.start();
    await until(() => publisher.health().connects === 2 && states.includes('offline') && states.at(-1) === 'awake');
  });
});
