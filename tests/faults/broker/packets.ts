/**
 * Packets of MQTT as bytes, by hand from the OASIS standards MQTT 3.1.1 and 5.0: an implementation that is not the one that the
 * program uses.
 */
export interface Packet {
  /** §2.1.2: 1 CONNECT, 2 CONNACK, 3 PUBLISH, 4 PUBACK, 8 SUBSCRIBE, 9 SUBACK, 12 PINGREQ, 13 PINGRESP, 14 DISCONNECT. */
  type: number;
  flags: number;
  body: Buffer;
  /** With its header. */
  bytes: Buffer;
}

export const CONNECT = 1;
export const CONNACK = 2;
export const PUBLISH = 3;
export const PUBACK = 4;
export const SUBSCRIBE = 8;
export const SUBACK = 9;
export const PINGREQ = 12;

/** Cuts whole packets off a stream of chunks. */
export class PacketReader {
  #rest: Buffer = Buffer.alloc(0);

  push(chunk: Buffer): Packet[] {
    this.#rest = Buffer.concat([this.#rest, chunk]);
    const packets: Packet[] = [];
    for (;;) {
      const packet = this.#next();
      if (packet === null) return packets;
      packets.push(packet);
    }
  }

  #next(): Packet | null {
    const buffer = this.#rest;
    let length = 0;
    let at = 1;
    for (let shift = 0; ; shift += 7) {
      const byte = buffer[at];
      if (byte === undefined) return null;
      at += 1;
      length += (byte & 0x7f) << shift;
      if (byte < 0x80) break;
    }
    if (buffer.length < at + length) return null;
    const bytes = buffer.subarray(0, at + length);
    this.#rest = buffer.subarray(at + length);
    return { type: bytes[0]! >> 4, flags: bytes[0]! & 15, body: bytes.subarray(at), bytes };
  }
}

export interface Publish {
  topic: string;
  id: number;
  payload: string;
}

/** QoS 1, properties shorter than 128 bytes. */
export function readPublish({ body }: Packet, version: number): Publish {
  const topicEnd = 2 + body.readUInt16BE(0);
  const properties = version === 5 ? 1 + body[topicEnd + 2]! : 0;
  return {
    topic: body.subarray(2, topicEnd).toString(),
    id: body.readUInt16BE(topicEnd),
    payload: body.subarray(topicEnd + 2 + properties).toString(),
  };
}

const packet = (first: number, body: Buffer): Buffer => {
  const length: number[] = [];
  let rest = body.length;
  do {
    length.push((rest & 0x7f) | (rest > 0x7f ? 0x80 : 0));
    rest >>= 7;
  } while (rest > 0);
  return Buffer.concat([Buffer.from([first, ...length]), body]);
};
const twoBytes = (n: number): number[] => [n >> 8, n & 0xff];

export const connack = (version: number, code = 0): Buffer =>
  packet(0x20, Buffer.from(version === 5 ? [0, code, 0] : [0, code]));

export const puback = (version: number, id: number, code = 0): Buffer =>
  packet(0x40, Buffer.from(version === 5 ? [...twoBytes(id), code] : twoBytes(id)));

export const suback = (version: number, id: number, code: number): Buffer =>
  packet(0x90, Buffer.from(version === 5 ? [...twoBytes(id), 0, code] : [...twoBytes(id), code]));

export const pingresp = (): Buffer => packet(0xd0, Buffer.alloc(0));

/** QoS 0. */
export function publish(version: number, topic: string, payload: string, retain: boolean): Buffer {
  const name = Buffer.from(topic);
  const properties = version === 5 ? [0] : [];
  return packet(
    0x30 | (retain ? 1 : 0),
    Buffer.concat([Buffer.from(twoBytes(name.length)), name, Buffer.from(properties), Buffer.from(payload)]),
  );
}

/** The header of a PUBLISH of nearly 256 MB. */
export const endlessHeader = (): Buffer => Buffer.from([0x30, 0xff, 0xff, 0xff, 0x7f]);
