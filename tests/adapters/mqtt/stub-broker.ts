import { createServer, type Socket } from 'node:net';
import { cleanup } from './harness.js';

/**
 * Just enough of a broker to answer as no well-behaved one does. Packet layouts by hand from the OASIS standard MQTT 5.0:
 * CONNECT §3.1, CONNACK §3.2, PUBACK §3.4, SUBACK §3.9, DISCONNECT §3.14.
 */
export interface StubBroker {
  url: string;
  /** Protocol version of each CONNECT, in order. */
  versions: number[];
  /** Payloads of what was published with QoS 1, in order. */
  payloads: string[];
  /** Their retain flags. */
  retained: boolean[];
  /** Filters of each SUBSCRIBE, in order. */
  filters: string[][];
  sockets: Set<Socket>;
}

export interface StubBehaviour {
  /** Bytes sent for a CONNECT of that version; null hangs up without a word. */
  connack(version: number): number[] | null;
  /** Reason code of the n-th PUBACK (from 1); null sends none. */
  puback?(n: number): number | null;
  /** Reason code for a filter; all are granted without it. */
  suback?(filter: string): number;
}

interface Packet {
  type: number;
  body: Buffer;
}

/** Cuts the packets off the front; returns what is left. */
function packetsOf(buffer: Buffer, take: (packet: Packet) => void): Buffer {
  for (;;) {
    let length = 0;
    let at = 1;
    for (let shift = 0; ; shift += 7) {
      const byte = buffer[at];
      if (byte === undefined) return buffer;
      at += 1;
      length += (byte & 0x7f) << shift;
      if (byte < 0x80) break;
    }
    if (buffer.length < at + length) return buffer;
    take({ type: buffer[0]!, body: buffer.subarray(at, at + length) });
    buffer = buffer.subarray(at + length);
  }
}

/** Payload of SUBSCRIBE §3.8.3: each filter with its length before it and its options behind. */
function filtersOf(payload: Buffer): string[] {
  const filters: string[] = [];
  for (let at = 0; at < payload.length; ) {
    const end = at + 2 + payload.readUInt16BE(at);
    filters.push(payload.toString('utf8', at + 2, end));
    at = end + 1;
  }
  return filters;
}

export async function startStubBroker(behaviour: StubBehaviour): Promise<StubBroker> {
  const stub: StubBroker = { url: '', versions: [], payloads: [], retained: [], filters: [], sockets: new Set() };
  const server = createServer((socket) => {
    stub.sockets.add(socket);
    socket.on('close', () => stub.sockets.delete(socket));
    socket.on('error', () => {});
    let version = 5;
    let rest: Buffer = Buffer.alloc(0);
    const answer = ({ type, body }: Packet): void => {
      const kind = type >> 4;
      if (kind === 1) {
        version = body[6]!;
        stub.versions.push(version);
        const connack = behaviour.connack(version);
        if (connack === null) socket.destroy();
        else socket.write(Buffer.from([0x20, connack.length, ...connack]));
      } else if (kind === 3) {
        const topicEnd = 2 + body.readUInt16BE(0);
        const properties = version === 5 ? 1 + body[topicEnd + 2]! : 0;
        stub.payloads.push(body.subarray(topicEnd + 2 + properties).toString());
        stub.retained.push((type & 1) === 1);
        const code = behaviour.puback ? behaviour.puback(stub.payloads.length) : 0;
        const id = [body[topicEnd]!, body[topicEnd + 1]!];
        if (code !== null) socket.write(Buffer.from(version === 5 ? [0x40, 3, ...id, code] : [0x40, 2, ...id]));
      } else if (kind === 8) {
        const filters = filtersOf(body.subarray(version === 5 ? 3 + body[2]! : 2));
        stub.filters.push(filters);
        const codes = filters.map((filter) => behaviour.suback?.(filter) ?? 1);
        const suback = [body[0]!, body[1]!, ...(version === 5 ? [0] : []), ...codes];
        socket.write(Buffer.from([0x90, suback.length, ...suback]));
      }
    };
    socket.on('data', (data) => {
      rest = packetsOf(Buffer.concat([rest, data]), answer);
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  cleanup(async () => {
    for (const socket of stub.sockets) socket.destroy();
    server.close();
  });
  stub.url = `mqtt://127.0.0.1:${(server.address() as { port: number }).port}`;
  return stub;
}

/** CONNACK bodies: no session, code 0; version 5 with an empty property list. */
export const ACCEPT_5 = [0, 0, 0];
export const ACCEPT_311 = [0, 0];
