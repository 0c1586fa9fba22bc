import { describe, expect, it } from 'vitest';
import { MemoryOutbox, makePublisher, until, upTo } from './harness.js';
import { ACCEPT_5, ACCEPT_311, startStubBroker } from './stub-broker.js';

function seqsOf(payloads: string[]): number[] {
  return payloads.map((payload) => JSON.parse(payload).seq as number).filter((seq) => seq !== undefined);
}

describe('protocol versions', () => {
  it('MQTT 5 where the broker speaks it', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5 });
    const outbox = new MemoryOutbox();
    outbox.append(20);
    const publisher = makePublisher(outbox, stub.url);
    publisher.start();
    await until(() => outbox.confirmed === 20);
    expect(stub.versions).toEqual([5]);
    expect(publisher.health().protocolVersion).toBe(5);
  });

  // MQTT 3.1.1 §3.2.2.3 code 1; MQTT 5.0 §3.2.2.2 code 0x84, and old brokers that answer in the old format.
  for (const [how, refusal] of [
    ['code 1 in the old format', [0, 1]],
    ['code 0x84', [0, 0x84, 0]],
  ] as const) {
    it(`3.1.1 at once, and from then on, where the broker refuses with ${how}`, async () => {
      const stub = await startStubBroker({ connack: (version) => (version === 5 ? [...refusal] : ACCEPT_311) });
      const outbox = new MemoryOutbox();
      outbox.append(3);
      const publisher = makePublisher(outbox, stub.url, { timings: { backoff: { minMs: 1, maxMs: 1, stableMs: 1 } } });
      publisher.start();
      await until(() => outbox.confirmed === 3);
      expect(publisher.health()).toMatchObject({ protocolVersion: 4, failures: 0 });
      for (const socket of stub.sockets) socket.destroy();
      await until(() => publisher.health().connects === 2);
      expect(stub.versions).toEqual([5, 4, 4]);
    });
  }

  it('3.1.1 at the next attempt where the broker hangs up on 5, and 5 again when that fails too', async () => {
    let accepting = false;
    const stub = await startStubBroker({ connack: (version) => (accepting && version === 4 ? ACCEPT_311 : null) });
    const publisher = makePublisher(new MemoryOutbox(), stub.url);
    publisher.start();
    await until(() => stub.versions.length >= 4);
    expect(stub.versions.slice(0, 4)).toEqual([5, 4, 5, 4]);
    accepting = true;
    await until(() => publisher.health().state === 'connected');
  });

  it('MQTT 5 is tried again after a day', async () => {
    const stub = await startStubBroker({ connack: (version) => (version === 5 ? [0, 0x84, 0] : ACCEPT_311) });
    const publisher = makePublisher(new MemoryOutbox(), stub.url, { timings: { version5AgainMs: 0 } });
    publisher.start();
    await until(() => stub.versions.length >= 3);
    expect(stub.versions.slice(0, 3)).toEqual([5, 5, 5]);
  });
});

describe('a broker that does not take what it is sent', () => {
  // MQTT 5.0 §3.4.2.1: 0x97 quota exceeded. The third QoS 1 message is the first event: open and presence come before.
  it('a PUBACK with an error code: the event is sent again later on the same connection, none is left out', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5, puback: (n) => (n === 5 ? 0x97 : 0) });
    const outbox = new MemoryOutbox();
    outbox.append(20);
    const publisher = makePublisher(outbox, stub.url);
    publisher.start();
    await until(() => outbox.confirmed === 20);
    expect(publisher.health()).toMatchObject({ connects: 1, messagesRefused: 1 });
    // Message 5 was event 3: it and all after it went out again, in order.
    const seqs = seqsOf(stub.payloads);
    expect(seqs.filter((seq) => seq === 3)).toHaveLength(2);
    expect(seqs.slice(seqs.lastIndexOf(3))).toEqual(upTo(20).slice(2));
    expect(outbox.confirms.at(-1)).toBe(20);
  });

  it('no PUBACK in time ends the connection', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5, puback: (n) => (n === 4 ? null : 0) });
    const outbox = new MemoryOutbox();
    outbox.append(6);
    const publisher = makePublisher(outbox, stub.url, { timings: { pubackMs: 200 } });
    publisher.start();
    await until(() => outbox.confirmed === 6);
    expect(publisher.health().connects).toBeGreaterThanOrEqual(2);
  });

  it('0x10, no matching subscribers, is no error (MQTT 5.0 §3.4.2.1)', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5, puback: () => 0x10 });
    const outbox = new MemoryOutbox();
    outbox.append(5);
    const publisher = makePublisher(outbox, stub.url);
    publisher.start();
    await until(() => outbox.confirmed === 5);
    expect(publisher.health().connects).toBe(1);
  });

  it('a PUBACK that is out of order confirms nothing past the hole', async () => {
    // The stub leaves out one acknowledgement; those after it come. Event 3 is message 5.
    const stub = await startStubBroker({ connack: () => ACCEPT_5, puback: (n) => (n === 5 ? null : 0) });
    const outbox = new MemoryOutbox();
    outbox.append(10);
    const publisher = makePublisher(outbox, stub.url);
    publisher.start();
    await until(() => stub.payloads.length === 12 && publisher.health().inFlight === 1);
    expect(outbox.confirmed).toBe(2);
  });

  it('receives no more at once than it asked for (Receive Maximum, MQTT 5.0 §3.2.2.3.3)', async () => {
    // Property 0x21 with the value 3.
    const stub = await startStubBroker({ connack: () => [0, 0, 3, 0x21, 0, 3] });
    const outbox = new MemoryOutbox();
    outbox.append(50);
    const publisher = makePublisher(outbox, stub.url);
    publisher.start();
    await until(() => outbox.confirmed === 50);
    expect(publisher.health().maxInFlight).toBe(3);
  });
});

describe('two programs for one truck', () => {
  // MQTT 5.0 §3.14.2.1: DISCONNECT 0x8E, session taken over.
  it('are noticed and said', async () => {
    const stub = await startStubBroker({ connack: () => ACCEPT_5 });
    const lines: string[] = [];
    const publisher = makePublisher(new MemoryOutbox(), stub.url, { log: (_level, line) => lines.push(line) });
    publisher.start();
    await until(() => publisher.health().messagesAcknowledged >= 2);
    for (const socket of stub.sockets) socket.write(Buffer.from([0xe0, 2, 0x8e, 0]));
    await until(() => publisher.health().takenOver === 1);
    expect(lines.some((line) => line.includes('second program'))).toBe(true);
  });
});
