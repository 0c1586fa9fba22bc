import type {
  AnswerMessage,
  GapMessage,
  PresenceMessage,
  ReceivedEvent,
  ReceivedOpen,
  ReceivedReading,
} from '../../adapters/mqtt/messages.js';
import type { ReceivedCheck, ReceivedTrip } from '../../adapters/mqtt/trip-messages.js';
import type { Urgency } from '../../config/resolved.js';
import type { WallMs } from '../../daemon/time.js';

/** Who speaks: taken from the topic, never from the payload. */
export interface TruckKey {
  fleet: string;
  truck: string;
}

/** What came from a truck, checked against its schema; receivedMs: the office's clock. */
export type Incoming = { receivedMs: WallMs } & (
  | { kind: 'event'; message: ReceivedEvent }
  | { kind: 'open'; message: ReceivedOpen }
  | { kind: 'presence'; message: PresenceMessage }
  | { kind: 'reading'; message: ReceivedReading }
  | { kind: 'trip'; message: ReceivedTrip }
  | { kind: 'start-check'; message: ReceivedCheck }
  | { kind: 'gap'; message: GapMessage }
);

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
  /** Number of the last event, or asOf of the last `open`, that is in it. */
  lastSeq: number;
  /** By the office's clock: since when it stands at this urgency, here; when it was called untaken, once per urgency. */
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
  /** Alerts that have ended, with the number at which they did: an event that comes late does not open them again. Bounded. */
  ended: { id: string; seq: number }[];
  reading: ReceivedReading | null;
  /** The last start check: it has the targets. */
  check: ReceivedCheck | null;
  /** Newest last; bounded. */
  stores: StoreSeen[];
  /** What `answer` says; rev of the last that was published, with what was confirmed in it. */
  rev: number;
  trailer: string | null;
  decisions: Decision[];
  published: { rev: number; received: { store: string; seq: number } | null; ms: WallMs } | null;
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
  /** Of why `ended`: cleared, or closed with a reason. */
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
  ended: [],
  reading: null,
  check: null,
  stores: [],
  rev: 0,
  trailer: null,
  decisions: [],
  published: null,
});
