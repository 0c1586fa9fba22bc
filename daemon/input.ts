import type { StreamMs } from './time.js';

/**
 * Where frames go. Called per frame of interest, so nothing is allocated: the data stand in `data[0..length)`,
 * valid only during the call.
 */
export interface FrameSink {
  /** bus: index into the configuration's buses. id: 29 bits. */
  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void;
  /** A CAN error frame; `id` holds the error class bits as SocketCAN has them. */
  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void;
}
