import type { IClientOptions } from 'mqtt';
import type { NumberedCheck, NumberedEvent, NumberedOpen, NumberedTrip } from '../../daemon/alerts/numbered.js';
import { type BackoffOptions, DEFAULT_BACKOFF } from './backoff.js';
import type { PublisherClock } from './clock.js';
import type { AnswerMessage, PresenceMessage } from './messages.js';

/** What the publisher needs of the store: see adapters/store/contract.ts. */
export interface OutboxSource {
  /** Another object with another `store` after a database was moved aside. */
  readonly opened: { readonly store: string; readonly boot: number; readonly lastSeq: number };
  outbox(after: number, limit: number): Promise<NumberedEvent[]>;
  confirm(seq: number): Promise<void>;
  open(): Promise<NumberedOpen | null>;
  /** Ended trips that nobody has been told of, oldest first. */
  trips?(limit: number): Promise<NumberedTrip[]>;
  confirmTrip?(trip: { boot: number; trip: number }): Promise<void>;
  /** Start checks that nobody has been told of, oldest first. */
  checks?(limit: number): Promise<NumberedCheck[]>;
  confirmCheck?(trip: { boot: number; trip: number }): Promise<void>;
  gaps?(): Promise<Gap[]>;
  confirmGap?(gap: Gap): Promise<void>;
}

/** Events that will never come, because the store needed their room. */
export interface Gap {
  fromSeq: number;
  toSeq: number;
  what: string;
  count: number;
  why: string;
}

/** The changing part of `presence`; the publisher adds who and which version it is. */
export type PresenceState = Pick<PresenceMessage, 'state' | 'bus' | 'degraded' | 'since'>;

export interface PublisherTimings {
  connectMs: number;
  /** Without a PUBACK after this long the connection is given up. */
  pubackMs: number;
  /** The office's number has not moved for this long: everything after it is sent again. Doubles up to resendMaxMs. */
  resendMs: number;
  resendMaxMs: number;
  /** Wait after the store failed to answer, and between looks at `hold`. */
  retryMs: number;
  /** What the broker refused is sent again after this long. */
  refusedMs: number;
  /** Nothing waits longer than this for the broker's word on our subscription. */
  subackMs: number;
  /** A broker that refused MQTT 5 is asked again after this long. */
  version5AgainMs: number;
  backoff: BackoffOptions;
}

export const DEFAULT_TIMINGS: PublisherTimings = {
  connectMs: 20_000,
  pubackMs: 30_000,
  resendMs: 60_000,
  resendMaxMs: 3_600_000,
  retryMs: 1000,
  refusedMs: 60_000,
  subackMs: 2_000,
  version5AgainMs: 86_400_000,
  backoff: DEFAULT_BACKOFF,
};

/** What the log says of alerts while there is no connection, and of a name that somebody else took. */
export const LINK_WORDS = {
  meanwhile: 'alerts wait in the store',
  takenOver: 'does a second program run for the same truck?',
};

/** QoS 1 messages without an acknowledgement at once; a broker may ask for fewer. */
export const WINDOW = 16;

export interface PublisherOptions {
  source: OutboxSource;
  /** mqtt://, mqtts://, ws:// or wss://, with credentials if need be; never printed. */
  url: string;
  confirm: 'broker' | 'office';
  fleet: string;
  truck: string;
  /** Version of the program. */
  version: string;
  /** Hash of the configuration in force, which a reload changes: for `presence`, and for events that do not say theirs. */
  config: () => string;
  presence: PresenceState;
  clock: PublisherClock;
  /** A replay: own root, nothing retained, `"replay": true`, no answers, its own client id. */
  replay?: boolean;
  /** Keep-alive and other options of the MQTT client. */
  client?: IClientOptions;
  /**
   * Who we are to the broker, read at each connect so that new credentials need no restart: see credentials.ts. An Error that it
   * throws counts as a failed connect with that line.
   */
  credentials?: () => IClientOptions;
  /** Is the host's clock known to be right? Without it, it counts as right. Only for what is said of certificates and dates. */
  clockSynced?: () => boolean;
  timings?: Partial<PublisherTimings>;
  /** A reason not to connect yet (`waiting for clock`), or null. Waiting is no failure. */
  hold?: () => string | null;
  /** A whole, valid answer of the office, each time it arrives. */
  onAnswer?: (answer: AnswerMessage) => void;
  /** One line for people; never holds the URL's credentials. */
  log?: (level: 'info' | 'warn', line: string) => void;
}

export interface PublisherHealth {
  state: 'new' | 'holding' | 'connecting' | 'connected' | 'waiting' | 'stopped';
  /** Protocol, host and port. */
  broker: string;
  /** Neither encrypted nor on loopback. */
  plain: boolean;
  protocolVersion: 4 | 5 | null;
  /** Why there is no connection, or null. */
  lastError: string | null;
  connects: number;
  failures: number;
  eventsSent: number;
  /** Of these, sent for a second or later time by this process. */
  eventsRepeated: number;
  messagesAcknowledged: number;
  messagesTrimmed: number;
  inFlight: number;
  maxInFlight: number;
  /** Highest seq that the broker or the office has confirmed to this process. */
  confirmedSeq: number;
  /** Whole seconds for which that has not moved though more was sent; null: nothing waits for it. */
  unconfirmedS: number | null;
  answers: number;
  answersDropped: number;
  answerRefused: number;
  /** Messages that the broker refused; they are tried again. */
  messagesRefused: number;
  volatileDropped: number;
  storeErrors: number;
  takenOver: number;
  /** Bytes over the sockets of all connections, TLS included, headers of TCP and IP not. */
  bytesSent: number;
  bytesReceived: number;
  /** Ended trips and start checks sent, repetitions included. */
  tripsSent: number;
}
