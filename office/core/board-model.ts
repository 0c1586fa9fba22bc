import type { ReceivedEvent, ReceivedOpen, ReceivedReading } from '../../adapters/mqtt/messages.js';
import type { ReceivedCheck, ReceivedTrip } from '../../adapters/mqtt/trip-messages.js';
import type { WallMs } from '../../daemon/time.js';
import type { Decision, OfficeAlert } from './model.js';

/** What the board's page is given: JSON over HTTP. Texts are for people, and are put into the page as text only. */

/**
 * How a truck is to be reached, apart from what is wrong with its equipment:
 * `awake`; `parked` or `asleep`, unit on; `off` (parked, then its unit went off: nothing is wrong); `offline` (the line broke while
 * it was awake); `late` (awake, and nothing was heard for longer than it may be silent); `not-heard` (expected today);
 */
export type Reach = 'awake' | 'parked' | 'asleep' | 'off' | 'offline' | 'late' | 'not-heard';

export interface BoardAlert extends Omit<OfficeAlert, 'told' | 'lastSeq' | 'detailSeq' | 'noteSeq'> {
  /** The rule in words: "losing air". */
  what: string;
  /** Alerts that this one explains, by id; they stand in the truck's list too. */
  explains: string[];
  /** Another open alert explains it: it is shown under that one. */
  isExplained: boolean;
  /** Asked of the truck and not confirmed by it yet. */
  asked: Decision | null;
  /** Taken, or asked to be. */
  isTaken: boolean;
  isSnoozed: boolean;
  /** Nobody has taken it in the time that the fleet gives. */
  isUntaken: boolean;
}

export interface BoardTruck {
  fleet: string;
  truck: string;
  revision: number;
  trailer: string | null;
  reach: Reach;
  /** "heard 4 min ago" is the page's matter: the instants are given. */
  heardMs: WallMs | null;
  sinceMs: WallMs | null;
  /** What does not work in the unit itself; empty when nothing. */
  sick: string[];
  /** km/h, degrees and their age in s at vehicleMs. */
  vehicle: ReceivedEvent['vehicle'] | null;
  vehicleMs: WallMs | null;
  isMoving: boolean | null;
  /** Equipment alerts without a cause, most urgent first, then those of the system, then those that another one explains. */
  alerts: BoardAlert[];
  /** Of the last `open`: left out there. */
  more: number;
}

/** The whole board, sent when a page connects. Trucks without anything to tell are only counted. */
export interface BoardSnapshot {
  nowMs: WallMs;
  trucks: BoardTruck[];
  counts: Record<Reach, number>;
  /** By fleet, for the page's own clock: ms until an alert is called untaken. */
  untakenMs: Record<string, Record<string, number | null>>;
  /** What the broker lacks, or that it is away; one line each. */
  notes: string[];
}

/** One truck's page. */
export interface TruckPage {
  truck: BoardTruck;
  config: string | null;
  version: string | null;
  bus: Record<string, string>;
  reading: ReceivedReading | null;
  readingMs: WallMs | null;
  /** Targets of tires, strokes. */
  check: ReceivedCheck | null;
  muted: ReceivedOpen['muted'];
  notJudged: NonNullable<ReceivedOpen['notJudged']>;
  /** Newest first. */
  events: ReceivedEvent[];
  trips: ReceivedTrip[];
}

/** Readings of one truck in time, for plots: subject → rows [at in ms, values as in `reading`]. Missing is null: a gap stays open. */
export interface Series {
  fromMs: WallMs;
  toMs: WallMs;
  r: Record<string, [WallMs, ...(number | null)[]][]>;
}
