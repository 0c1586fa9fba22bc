import type { PresenceMessage } from '../../../adapters/mqtt/messages.js';
import type { Urgency } from '../../../config/resolved.js';
import type { WallMs } from '../../../daemon/time.js';

/** What the processes of the benchmark say to each other. */

/** What the board must show of an alert: how urgent it is, or that it is over. */
export type Shown = Urgency | 'gone';
/** An alert's change: seen on the board, or committed by a truck. Both processes have the same clock. */
export type Change = [alert: string, shown: Shown, ms: WallMs];
/** isConnected: only then the office can have it at once. */
export type Commit = [...Change, isConnected: boolean];

export type TrucksOrder =
  /** All of them, evenly spread over this time. */
  | { order: 'connect'; overMs: number }
  /** The day goes on, so many times as busy; 0: nothing happens. */
  | { order: 'live'; factor: number }
  /** One truck in `every` commits so many events at once. */
  | { order: 'backlog'; events: number; every: number }
  | { order: 'list' };

export interface TrucksCounts {
  /** Orders that had been obeyed when it was counted. */
  orders: number;
  trucks: number;
  connected: number;
  /** Events that the office has not confirmed, and trucks that have any. */
  waiting: number;
  trucksWaiting: number;
  committed: number;
  /** Of these by trucks that had no connection at that moment. */
  unconnected: number;
  /** Events handed to the broker, of these for a second or later time; other messages. */
  events: number;
  repeated: number;
  others: number;
  /** Connections that stood, over all trucks. */
  connects: number;
  /** Delay of this process's event loop since the last report, ms, 99 of 100: the benchmark's own part of a latency. */
  delayP99Ms: number;
}

export type TrucksReport =
  | { report: 'counts'; counts: TrucksCounts }
  | { report: 'changes'; changes: Commit[] }
  /** Connected; the first message leaves now. */
  | { report: 'up'; ups: [truck: string, ms: WallMs][] }
  | { report: 'list'; trucks: { truck: string; store: string; lastSeq: number; open: string[] }[] };

export interface TrucksTask {
  port: number;
  fleet: string;
  /** Trucks are numbered from here. */
  first: number;
  count: number;
  seed: number;
}

export interface BoardTask {
  url: string;
  headers: Record<string, string>;
  /** Each reader signs in as somebody else. */
  userHeader: string;
  readers: number;
}

export type BoardReport =
  | { report: 'reading' }
  | { report: 'changes'; changes: Change[] }
  | { report: 'counts'; counts: { messages: number; bytes: number; delayP99Ms: number; broken: number } };

export type PresenceName = PresenceMessage['state'];

export const FLEET = 'northline';
export const truckName = (number: number): string => `T-${String(number).padStart(5, '0')}`;
