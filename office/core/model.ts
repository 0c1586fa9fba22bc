import type { Heard, Sender } from '../../adapters/mqtt/message-reader.js';
import type {
  AnswerMessage,
  PresenceMessage,
  ReceivedEvent,
  ReceivedOpen,
  ReceivedReading,
} from '../../adapters/mqtt/messages.js';
import type { ReceivedCheck } from '../../adapters/mqtt/trip-messages.js';
import type { Urgency } from '../../config/resolved.js';
import type { WallMs } from '../../daemon/time.js';

/** Who speaks. */
export type TruckKey = Sender;

/**
 * What came from a truck, checked against its schema; receivedMs: the office's clock. retained: the broker had kept it (MQTT's flag), so
 * it says how the truck was and not that it is there now.
 */
export type Incoming = { receivedMs: WallMs; retained?: boolean } & Heard;

/** Sequence numbers as ranges [first, last], ascending and not touching: nearly always one. */
export type SeqRanges = [number, number][];

/** What the office has of one database of a truck. */
export interface StoreSeen {
  store: string;
  /** Of events that are stored here, and of those that a gap says will never come. */
  ranges: SeqRanges;
  /** When its first message came: until ten seconds later lower numbers may still be on their way. */
  firstMs: WallMs;
  lastMs: WallMs;
  /** Events up to and with this number change history only: asOf of its last `open`. */
  floor: number;
  /** Another database has taken its place: all its events change history only. */
  isOver: boolean;
  /** Gaps whose numbers have not all been accounted for. Bounded. */
  gaps: SeqGap[];
  /** Nothing after seq could be confirmed, though the truck was heard for so long since; top: the highest number there then. */
  stuck: { seq: number; top: number; heardMs: number } | null;
  /** Numbers that were given up. */
  lost: number;
}

/** `count` of the numbers from..to will never come; the others may. */
export interface SeqGap {
  from: number;
  to: number;
  count: number;
  /** Since when both the gap and an event after it are known; null: no such event yet. */
  passedMs: WallMs | null;
}

/** What of an alert follows from its changes one after the other. */
export interface Standing {
  unsure: boolean;
  chattering: boolean;
  taken: OfficeAlert['taken'];
  snoozed: OfficeAlert['snoozed'];
  note: string | null;
  /** Of the event that brought the note. */
  noteSeq: number;
}

/** One event of an alert, as far as its standing follows from it; until: of a snooze, by the clock of the office. */
export interface Step {
  /** Of the database that numbers it: an alert may also be told of under a volatile store id. */
  store: string;
  seq: number;
  change: ReceivedEvent['change'];
  at: string;
  who: string | null;
  note: string | null;
  until: string | null;
}

/**
 * Changes of one alert that the last `open` does not have yet, so that one which comes late finds its place among them. An alert
 * that has ended is kept here until an `open` confirms it.
 */
export interface Story {
  alert: string;
  /** Of the last `open`; null: not open then. */
  base: Standing | null;
  /** Ascending. Bounded; the oldest go into the base. */
  steps: Step[];
}

/** Not confirmed by the truck yet, as it goes into `answer`; askedMs by the office's clock. */
export type Decision = AnswerMessage['decisions'][number] & { askedMs: WallMs };

/** An open alert as the office knows it: the newest of `open` and of events after it. */
export interface OfficeAlert {
  id: string;
  /** Of the database that numbers it. */
  store: string;
  cause: string | null;
  rule: string;
  kind: 'equipment' | 'system';
  subject: string;
  place: string;
  urgency: Urgency;
  unsure: boolean;
  chattering: boolean;
  /** By the truck's clock, ISO 8601; synced: it was known to be right. */
  since: string;
  at: string;
  synced: boolean;
  measured: ReceivedEvent['measured'];
  /** Only from events: null where only `open` has told of it. */
  evidence: ReceivedEvent['evidence'];
  forecast: ReceivedEvent['forecast'];
  advice: string | null;
  basis: string | null;
  vehicle: ReceivedEvent['vehicle'] | null;
  taken: { who: string; at: string } | null;
  snoozed: { who: string; until: string } | null;
  note: string | null;
  noteSeq: number;
  /** Number of the last event, or asOf of the last `open`, that is in it. */
  lastSeq: number;
  /** Number of the last event in it: of what only events tell. 0: only `open` has told of it. */
  detailSeq: number;
  /**
   * By the office's clock: since when it stands at this urgency or worse and was not put off; when it was called untaken, once for
   * each rise.
   */
  urgentSinceMs: WallMs;
  untakenMs: WallMs | null;
  /** Channels that were told of it, so that each is told once, and once more when it ends. */
  told: string[];
}

/** Everything that the office knows of one truck. Plain JSON, one row of the store. */
export interface TruckState {
  /** Grows with each change of this row: of two copies the one with the higher number is newer. */
  revision: number;
  heardMs: WallMs | null;
  presence: PresenceMessage | null;
  presenceMs: WallMs | null;
  /** The last `open` without its alerts. */
  open: Omit<ReceivedOpen, 'alerts'> | null;
  alerts: OfficeAlert[];
  /** By alert; bounded. */
  stories: Story[];
  /** Alerts that an `open` lists no more, whose channels are still to be told how they ended: the event may come later. Bounded. */
  leaving: { alert: OfficeAlert; sinceMs: WallMs }[];
  /** The last state before `offline`. */
  lastState: Exclude<PresenceMessage['state'], 'offline'> | null;
  /** Of the newest event; ms: when it was so, by the office's clock. */
  vehicle: { store: string; seq: number; ms: WallMs; value: ReceivedEvent['vehicle'] } | null;
  reading: ReceivedReading | null;
  readingMs: WallMs | null;
  /** The last start check: it has the targets. */
  check: ReceivedCheck | null;
  /** Newest last; bounded. */
  stores: StoreSeen[];
  /** What `answer` says; rev of the last that was published, with what was confirmed in it. */
  rev: number;
  trailer: string | null;
  decisions: Decision[];
  /** As it was published, so that it can be said again word for word. */
  published: (Omit<AnswerMessage, 'v'> & { ms: WallMs }) | null;
}

/** What a person wants; `who` is the name of the account, never typed. */
export interface Wish {
  alert: string;
  do: 'take' | 'snooze' | 'resume' | 'close';
  who: string;
  note: string | null;
  minutes: number | null;
}

/** One message that leaves the office, for all channels that want it. */
export interface Notice {
  /** `raised`: it has reached an urgency that the channel wants; once per channel and alert. */
  why: 'raised' | 'untaken' | 'ended';
  channel: string;
  fleet: string;
  truck: string;
  trailer: string | null;
  alert: OfficeAlert;
  /** Of why `ended`: `cleared`, `closed` or a reason of `closed`, or `gone`: the truck lists it no more, and nothing tells why. */
  ending: string | null;
  ms: WallMs;
}

/** What comes of a fold: the new row, and what is to be sent. */
export interface Folded {
  state: TruckState;
  notices: Notice[];
}

/** What a fleet wants, as far as the core must know; from office.yaml. */
export interface FleetRules {
  /** An alert that nobody has taken so long, by urgency; null: never. */
  untakenMs: Record<Urgency, number | null>;
  /** By channel: urgencies that are told there. */
  channels: { name: string; urgencies: Urgency[] }[];
  /** Trucks that are to be heard on these days (0 Sunday … 6) from this minute of the day on, in this time zone. */
  expected: { truck: string; days: number[]; byMinute: number }[];
  timeZone: string;
  /** What leaves the office of a truck's place. */
  position: 'exact' | 'rounded' | 'none';
}

export const newTruckState = (): TruckState => ({
  revision: 0,
  heardMs: null,
  presence: null,
  presenceMs: null,
  open: null,
  alerts: [],
  stories: [],
  leaving: [],
  lastState: null,
  vehicle: null,
  reading: null,
  readingMs: null,
  check: null,
  stores: [],
  rev: 0,
  trailer: null,
  decisions: [],
  published: null,
});
