/* Captures written byte by byte after the formats' own descriptions: tcpdump.org "pcap-savefile" and "link-layer header
   types", the IETF draft of pcapng, linux/can.h. */

export type Order = 'big' | 'little';

export function u16(value: number, order: Order): Buffer {
  const bytes = Buffer.alloc(2);
  if (order === 'big') bytes.writeUInt16BE(value);
  else bytes.writeUInt16LE(value);
  return bytes;
}

export function u32(value: number, order: Order): Buffer {
  const bytes = Buffer.alloc(4);
  if (order === 'big') bytes.writeUInt32BE(value >>> 0);
  else bytes.writeUInt32LE(value >>> 0);
  return bytes;
}

export function u64(value: bigint, order: Order): Buffer {
  const bytes = Buffer.alloc(8);
  if (order === 'big') bytes.writeBigUInt64BE(BigInt.asUintN(64, value));
  else bytes.writeBigUInt64LE(BigInt.asUintN(64, value));
  return bytes;
}

const words = (order: Order, ...values: number[]) => Buffer.concat(values.map((value) => u32(value, order)));

/** 29-bit id as SocketCAN has it. */
export const EXTENDED = 0x80000000;
export const REMOTE = 0x40000000;
export const ERROR = 0x20000000;

/** struct can_frame: id with flags, length, three bytes of padding, eight bytes. */
export function canFrame(word: number, hex: string, order: Order = 'big'): Buffer {
  const data = Buffer.from(hex, 'hex');
  return Buffer.concat([u32(word, order), Buffer.from([data.length, 0, 0, 0]), data, Buffer.alloc(8 - data.length)]);
}

export function fdFrame(word: number, hex: string, flags = 4, order: Order = 'big'): Buffer {
  const data = Buffer.from(hex, 'hex');
  return Buffer.concat([
    u32(word, order),
    Buffer.from([data.length, flags, 0, 0]),
    data,
    Buffer.alloc(64 - data.length),
  ]);
}

/** Cooked capture, first form (LINKTYPE_LINUX_SLL): type, ARPHRD_CAN, no address, protocol. */
export const cooked = (payload: Uint8Array, protocol = 0x000c): Buffer =>
  Buffer.concat([u16(1, 'big'), u16(280, 'big'), Buffer.alloc(10), u16(protocol, 'big'), payload]);

/** Second form (LINKTYPE_LINUX_SLL2): protocol, number of the interface, ARPHRD_CAN, type, no address. */
export const cooked2 = (payload: Uint8Array, index = 3, protocol = 0x000c): Buffer =>
  Buffer.concat([u16(protocol, 'big'), u16(0, 'big'), u32(index, 'big'), u16(280, 'big'), Buffer.alloc(10), payload]);

export interface Packet {
  sec?: number;
  /** Micro- or nanoseconds, as the file has them. */
  part?: number;
  bytes: Uint8Array;
  captured?: number;
  original?: number;
}

export const pcapHeader = (order: Order, link: number, magic = 0xa1b2c3d4): Buffer =>
  Buffer.concat([u32(magic, order), u16(2, order), u16(4, order), words(order, 0, 0, 262144, link)]);

export const pcapRecord = (order: Order, { sec = 100, part = 0, bytes, ...lengths }: Packet): Buffer => {
  const { captured = bytes.length, original = bytes.length } = lengths;
  return Buffer.concat([words(order, sec, part, captured, original), bytes]);
};

export const pcap = (order: Order, link: number, packets: readonly Packet[], magic?: number): Buffer =>
  Buffer.concat([pcapHeader(order, link, magic), ...packets.map((packet) => pcapRecord(order, packet))]);

const padded = (bytes: Uint8Array): Buffer => Buffer.concat([bytes, Buffer.alloc((4 - (bytes.length % 4)) % 4)]);

/** A pcapng block with its length at both ends. */
export function block(order: Order, type: number, body: Uint8Array): Buffer {
  const length = u32(12 + padded(body).length, order);
  return Buffer.concat([u32(type, order), length, padded(body), length]);
}

export const option = (order: Order, code: number, value: Uint8Array): Buffer =>
  Buffer.concat([u16(code, order), u16(value.length, order), padded(value)]);

const optionEnd = (options: readonly Uint8Array[]) => (options.length > 0 ? [Buffer.alloc(4)] : []);

export const section = (order: Order): Buffer =>
  block(order, 0x0a0d0d0a, Buffer.concat([u32(0x1a2b3c4d, order), u16(1, order), u16(0, order), u64(-1n, order)]));

export function interfaceBlock(
  order: Order,
  link: number,
  { name, resolution, offsetS, snap = 0 }: { name?: string; resolution?: number; offsetS?: bigint; snap?: number } = {},
): Buffer {
  const options = [
    ...(name === undefined ? [] : [option(order, 2, Buffer.from(name))]),
    ...(resolution === undefined ? [] : [option(order, 9, Buffer.from([resolution]))]),
    ...(offsetS === undefined ? [] : [option(order, 14, u64(offsetS, order))]),
  ];
  return block(
    order,
    1,
    Buffer.concat([u16(link, order), u16(0, order), u32(snap, order), ...options, ...optionEnd(options)]),
  );
}

export interface Stamped {
  index?: number;
  stamp?: bigint;
  bytes: Uint8Array;
  captured?: number;
  original?: number;
  options?: readonly Uint8Array[];
}

const stamped = (order: Order, { stamp = 100_000_000n, bytes, captured, original, options = [] }: Stamped): Buffer =>
  Buffer.concat([
    words(order, Number(stamp >> 32n), Number(stamp & 0xffffffffn)),
    words(order, captured ?? bytes.length, original ?? bytes.length),
    padded(bytes),
    ...options,
    ...optionEnd(options),
  ]);

export const enhanced = (order: Order, packet: Stamped): Buffer =>
  block(order, 6, Buffer.concat([u32(packet.index ?? 0, order), stamped(order, packet)]));

export const oldPacket = (order: Order, packet: Stamped, drops = 0xffff): Buffer =>
  block(order, 2, Buffer.concat([u16(packet.index ?? 0, order), u16(drops, order), stamped(order, packet)]));

export const simple = (order: Order, bytes: Uint8Array, original = bytes.length): Buffer =>
  block(order, 3, Buffer.concat([u32(original, order), bytes]));

export const statistics = (order: Order, index: number, options: readonly Uint8Array[]): Buffer =>
  block(order, 5, Buffer.concat([words(order, index, 0, 0), ...options, ...optionEnd(options)]));
