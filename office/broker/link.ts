import type { IClientOptions } from 'mqtt';
import { DEFAULT_BACKOFF } from '../../adapters/mqtt/backoff.js';
import { type BrokerAddress, parseBrokerUrl } from '../../adapters/mqtt/broker-url.js';
import { hostTimers, type PublisherClock } from '../../adapters/mqtt/clock.js';
import type { Connection } from '../../adapters/mqtt/connection.js';
import { Link, type LinkTimings } from '../../adapters/mqtt/link.js';
import { readMessage } from '../../adapters/mqtt/message-reader.js';
import { type AnswerMessage, answerSchema, MAX_ANSWER_BYTES } from '../../adapters/mqtt/messages.js';
import { DEFAULT_TIMINGS } from '../../adapters/mqtt/publisher-options.js';
import { LIVE_ROOT, NAME_PATTERN, topicOf } from '../../adapters/mqtt/topics.js';
import type { WallMs } from '../../daemon/time.js';
import type { Incoming, TruckKey } from '../core/model.js';
import { AnswerSender, LinkError } from './answer-sender.js';
import { notesOf } from './notes.js';
import { RetainedProbe } from './retained-probe.js';
import { Subscriptions } from './subscriptions.js';

export { LinkError } from './answer-sender.js';

/** Messages that a broker may send at once without our acknowledgement: enough for one at a time over a line of some 10 ms. */
const RECEIVE_MAXIMUM = 100;
/** A broker that hung up in the midst of CONNECT is taken for one of 3.1.1, which costs the shared subscriptions: not for long. */
const VERSION_5_AGAIN_MS = 600_000;
/** One line for a whole fleet: it is back before most trucks are, and what they say meanwhile nobody would hear. */
const BACKOFF = { ...DEFAULT_BACKOFF, maxMs: 2_000 };
/** Trips have no number by which the office could confirm them: what the broker keeps is all that keeps them. */
const SESSION_S = 86_400;
const WORDS = {
  meanwhile: 'trucks keep what is not confirmed',
  takenOver: 'does a second office run with the same client id?',
};

export interface BrokerLinkOptions {
  /** mqtt://, mqtts://, ws:// or wss://; never printed whole. */
  url: string;
  /** Who we are to the broker, read at each connect. An Error that it throws counts as a failed connect with that line. */
  credentials?: () => IClientOptions;
  /** Names, or `+` for all. */
  fleets: readonly string[];
  /** Instances that name the same group get each event, trip and gap once between them; null: there is one instance. */
  sharedGroup: string | null;
  /** REPLAY_ROOT to watch replays. */
  root?: string;
  /** One that no other office uses; made up without it. */
  clientId?: string;
  /**
   * The broker keeps for a day what trucks say while the office is away: it comes again with the same client id. Not for instances that
   * share events: what the broker has given to one of them would wait for that one.
   */
  isKept?: boolean;
  /**
   * Each message that is what it says it is. While it returns a promise that is pending nothing more is read, the broker's
   * acknowledgements neither: it must not wait for an answer to be sent. When it is rejected the connection is ended and made anew.
   */
  take(key: TruckKey, incoming: Incoming): void | Promise<void>;
  /** All notes, each time they have changed. */
  onNotes(notes: string[]): void;
  /** One line for people; never holds credentials. */
  log?: (level: 'info' | 'warn', line: string) => void;
  clock?: Pick<PublisherClock, 'nowMs' | 'after' | 'random'> & { wallNow(): WallMs };
  timings?: Partial<LinkTimings & { refusedMs: number }>;
}

/** The office's line to the broker: hears what trucks say, and publishes answers. Tries again for ever when the broker is away. */
export class BrokerLink {
  /** received: given on to take. invalid, foreign: dropped. held: how often reading had to wait for take. */
  readonly counts = { received: 0, invalid: 0, foreign: 0, held: 0, connects: 0 };
  #notes: string[] = [];
  readonly #options: BrokerLinkOptions;
  readonly #root: string;
  readonly #address: BrokerAddress;
  readonly #clock: NonNullable<BrokerLinkOptions['clock']>;
  readonly #link: Link;
  readonly #subscriptions: Subscriptions;
  readonly #probe: RetainedProbe;
  readonly #answers = new AnswerSender();
  /** All has been asked for on this connection. */
  #isHearing = false;
  /** Of the last connection: what the broker is like does not change because it is away. */
  #broker: { version: 4 | 5; keepsRetained: boolean; takesWildcards: boolean } | null = null;
  #isShared: boolean | null = null;
  #givesRetained: boolean | null = null;
  #awaySinceMs: WallMs | null = null;
  /** What take has not finished, also of a connection that is gone. */
  #taking: Promise<void> | null = null;

  /** Throws for what no broker could mend: a URL that is none (the line does not repeat it), names that cannot be in a topic. */
  static start(options: BrokerLinkOptions): BrokerLink {
    const link = new BrokerLink(options);
    link.#link.start();
    return link;
  }

  private constructor(options: BrokerLinkOptions) {
    const { address, error } = parseBrokerUrl(options.url);
    if (address === null) throw new Error(error);
    const named = [...options.fleets.filter((fleet) => fleet !== '+'), options.sharedGroup ?? 'none'];
    const wrong = named.find((name) => !NAME_PATTERN.test(name));
    if (wrong !== undefined) throw new Error(`${JSON.stringify(wrong)} cannot be in a topic`);
    const clock = options.clock ?? { ...hostTimers(), wallNow: () => Date.now() };
    const own = { version5AgainMs: VERSION_5_AGAIN_MS, backoff: BACKOFF };
    const timings = { ...DEFAULT_TIMINGS, ...own, ...options.timings };
    this.#options = options;
    this.#root = options.root ?? LIVE_ROOT;
    this.#address = address;
    this.#clock = clock;
    this.#subscriptions = new Subscriptions({
      root: this.#root,
      fleets: options.fleets,
      sharedGroup: options.sharedGroup,
      refusedMs: timings.refusedMs,
      clock,
      changed: () => this.#subscribed(),
    });
    this.#probe = new RetainedProbe(this.#root, options.fleets[0] ?? '+', clock, () => this.#answers.pump());
    this.#link = new Link({
      address,
      clientId: options.clientId ?? `axlepost-office-${Math.floor(clock.random() * 36 ** 8).toString(36)}`,
      client: () => options.credentials?.() ?? {},
      clockSynced: () => true,
      timings,
      clock,
      will: () => null,
      hold: () => null,
      receiveMaximum: RECEIVE_MAXIMUM,
      ...(options.isKept === true && { sessionS: SESSION_S }),
      words: WORDS,
      onUp: (connection) => this.#up(connection),
      onDown: () => this.#down(),
      onMessage: (...message) => this.#message(...message),
      log: (level, line) => options.log?.(level, line),
    });
  }

  /** What the broker lacks, and that it is away; one line each. */
  get notes(): readonly string[] {
    return this.#notes;
  }

  /** Connected, and what is to be heard has been asked for. */
  get isConnected(): boolean {
    return this.#isHearing;
  }

  /** Protocol, host and port, for people. */
  get broker(): string {
    return this.#address.printable;
  }

  /**
   * Publishes the whole answer to a truck, retained. Resolves at the PUBACK. Rejects with a LinkError while the broker is away, when it
   * goes away meanwhile, when it refuses the message, or when the answer is longer than a truck takes.
   */
  async answer({ fleet, truck }: TruckKey, answer: AnswerMessage): Promise<void> {
    const payload = JSON.stringify(answerSchema.parse(answer));
    const bytes = Buffer.byteLength(payload);
    if (bytes > MAX_ANSWER_BYTES) {
      throw new LinkError(`the answer to ${fleet}/${truck} has ${bytes} bytes, more than ${MAX_ANSWER_BYTES}`);
    }
    await this.#answers.send(topicOf(this.#root, fleet, truck, 'answer'), payload);
  }

  /** Ends with DISCONNECT, within a second. What take holds it may go on with. */
  async close(): Promise<void> {
    this.#disconnected();
    await this.#link.stop(1000);
  }

  #up(connection: Connection): void {
    const { retained, wildcards } = connection.abilities;
    this.counts.connects += 1;
    this.#awaySinceMs = null;
    this.#broker = { version: this.#link.version ?? 5, keepsRetained: retained, takesWildcards: wildcards };
    this.#answers.up(connection);
    if (wildcards) void this.#subscriptions.up(connection);
    else this.#isHearing = true;
    if (wildcards && retained) {
      void this.#probe.run(connection).then((result) => {
        this.#givesRetained = result;
        this.#tell();
      });
    }
    this.#tell();
  }

  #down(): void {
    this.#disconnected();
    if (this.#link.state === 'stopped') return;
    this.#awaySinceMs ??= this.#clock.wallNow();
    this.#tell();
  }

  #disconnected(): void {
    this.#isHearing = false;
    this.#subscriptions.down();
    this.#probe.down();
    this.#answers.down();
  }

  #subscribed(): void {
    this.#isHearing = true;
    this.#isShared = this.#subscriptions.isShared;
    this.#tell();
  }

  #message(topic: string, payload: Uint8Array, isRetained: boolean): void | Promise<void> {
    if (this.#probe.message(topic, payload)) return undefined;
    const read = readMessage(this.#root, topic, payload);
    if (read === null) return undefined;
    if ('dropped' in read) {
      this.counts[read.dropped] += 1;
      return undefined;
    }
    const receivedMs = this.#clock.wallNow();
    return this.#take(read.from, { receivedMs, ...(isRetained && { retained: true }), ...read.heard });
  }

  #take(key: TruckKey, incoming: Incoming): void | Promise<void> {
    // A message of a new connection waits for what the one before has left.
    if (this.#taking !== null) return this.#taking.then(() => this.#take(key, incoming));
    this.counts.received += 1;
    const pending = this.#options.take(key, incoming);
    if (pending === undefined) return undefined;
    this.counts.held += 1;
    this.#taking = pending.then(
      () => {
        this.#taking = null;
      },
      () => {
        this.#taking = null;
      },
    );
    return pending;
  }

  #tell(): void {
    const sinceMs = this.#awaySinceMs;
    const lines = notesOf({
      broker: this.#address.printable,
      away: sinceMs === null ? null : { sinceMs, why: this.#link.lastError ?? 'no answer' },
      version: this.#broker?.version ?? null,
      wantsShared: this.#options.sharedGroup !== null,
      isShared: this.#isShared,
      refused: this.#subscriptions.refused,
      keepsRetained: this.#broker?.keepsRetained ?? true,
      givesRetained: this.#givesRetained,
      takesWildcards: this.#broker?.takesWildcards ?? true,
    });
    if (lines.length === this.#notes.length && lines.every((line, index) => line === this.#notes[index])) return;
    this.#notes = lines;
    this.#options.onNotes([...lines]);
  }
}
