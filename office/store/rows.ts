import type { Incoming, TruckKey } from '../core/model.js';
import { StoreError } from './contract.js';

/** What is stored of messages, as rows of both databases. Names of truck and fleet are those of the topic. */

/** Rows that one call reads at most, whatever it asks for. */
export const MOST_READ = 5_000;
/** Trucks that are read at a time. */
export const TRUCK_PAGE = 200;

export type EventMessage = Extract<Incoming, { kind: 'event' }>;
export type ReadingMessage = Extract<Incoming, { kind: 'reading' }>;
export type TripMessage = Extract<Incoming, { kind: 'trip' | 'start-check' }>;
export type GapIncoming = Extract<Incoming, { kind: 'gap' }>;

export const atMost = (limit: number): number => Math.max(0, Math.min(Math.trunc(limit), MOST_READ));

export const keyText = ({ fleet, truck }: TruckKey): string => `${fleet}/${truck}`;

export function eventRow({ fleet, truck }: TruckKey, { message, receivedMs }: EventMessage) {
  const { store, seq, at, alert, rule, subject, change, urgency } = message;
  return {
    fleet,
    truck,
    store,
    seq,
    received_ms: receivedMs,
    at,
    alert,
    rule,
    subject,
    change,
    urgency,
    body: message,
  };
}

/**
 * A retained reading comes again with each connect, and to each instance: it is stored once. Two of one truck have different stamps,
 * to the millisecond.
 */
export function readingRow({ fleet, truck }: TruckKey, { message, receivedMs }: ReadingMessage) {
  return { fleet, truck, at: message.at, received_ms: receivedMs, body: message };
}

export function tripRow({ fleet, truck }: TruckKey, { message, receivedMs, kind }: TripMessage) {
  const { store, boot, trip, start } = message;
  return {
    fleet,
    truck,
    store,
    boot,
    trip,
    kind: kind === 'trip' ? 'summary' : kind,
    received_ms: receivedMs,
    start,
    body: message,
  };
}

/** Of gaps without numbers there may be several: the rest of what they say tells them apart. */
export function gapRow({ fleet, truck }: TruckKey, { message, receivedMs }: GapIncoming) {
  const { store, fromSeq, toSeq, what, count, why } = message;
  const content = fromSeq === 0 && toSeq === 0 ? `${count} ${why}` : '';
  return {
    fleet,
    truck,
    store,
    from_seq: fromSeq,
    to_seq: toSeq,
    what,
    content,
    received_ms: receivedMs,
    body: message,
  };
}

/** JSON that this program has written; that it cannot be read is the disk's doing, or a stranger's. */
export function parsed<T>(text: string, place: string, what: string): T {
  try {
    return JSON.parse(text) as T;
  } catch (error) {
    throw new StoreError(`${place}: ${what} is damaged (no JSON); see docs/office-database.md, "When it is damaged"`, {
      cause: error,
    });
  }
}
