import mqtt, { type IClientOptions, type MqttClient } from 'mqtt';
import type { z } from 'zod';
import { parseBrokerUrl } from './broker-url.js';
import {
  type AnswerMessage,
  answerSchema,
  eventSchema,
  type GapMessage,
  gapSchema,
  MAX_EVENT_BYTES,
  MAX_GAP_BYTES,
  MAX_OPEN_BYTES,
  MAX_PRESENCE_BYTES,
  MAX_READING_BYTES,
  openSchema,
  type PresenceMessage,
  parsePayload,
  presenceSchema,
  type ReceivedEvent,
  type ReceivedOpen,
  type ReceivedReading,
  readingSchema,
} from './messages.js';
import { SeqSet } from './seq-set.js';
import { LIVE_ROOT, parseTopic, topicFilter, topicOf } from './topics.js';
import { MAX_TRIP_BYTES, type ReceivedCheck, type ReceivedTrip, tripTopicSchema } from './trip-messages.js';

/** Who speaks: taken from the topic, never from the payload. */
export interface Sender {
  fleet: string;
  truck: string;
}

export interface InboxOptions {
  url: string;
  /** REPLAY_ROOT to watch replays. */
  root?: string;
  /** One fleet; all of them without. */
  fleet?: string;
  /** Each event once. */
  onEvent?: (event: ReceivedEvent, from: Sender) => void;
  onOpen?: (open: ReceivedOpen, from: Sender) => void;
  onPresence?: (presence: PresenceMessage, from: Sender) => void;
  onGap?: (gap: GapMessage, from: Sender) => void;
  onReading?: (reading: ReceivedReading, from: Sender) => void;
  /** Once or more often. */
  onTrip?: (trip: ReceivedTrip, from: Sender) => void;
  /** Once or more often. */
  onStartCheck?: (check: ReceivedCheck, from: Sender) => void;
  /** One line for each message that was dropped. */
  onDropped?: (topic: string, why: string) => void;
  client?: IClientOptions;
}

/** Databases whose numbers are remembered; the one not heard of for longest goes first. */
const MAX_STORES = 10_000;

/** What trucks say as an office sees them: validated, attributed by topic, each event once. For the demo and for tests. */
export class OfficeInbox {
  readonly counts = { events: 0, repeated: 0, invalid: 0, foreign: 0 };
  readonly #options: InboxOptions;
  readonly #root: string;
  readonly #client: MqttClient;
  readonly #seen = new Map<string, SeqSet>();

  private constructor(options: InboxOptions) {
    const { address, error } = parseBrokerUrl(options.url);
    if (address === null) throw new Error(error);
    this.#options = options;
    this.#root = options.root ?? LIVE_ROOT;
    this.#client = mqtt.connect({
      reconnectPeriod: 1000,
      ...options.client,
      protocol: address.protocol,
      host: address.host,
      port: address.port,
      path: address.path,
      ...(address.username !== null && { username: address.username }),
      ...(address.password !== null && { password: address.password }),
      // Every broker speaks it, and nothing here needs more.
      protocolVersion: 4,
    });
    // Without a listener an error would end the process; MQTT.js connects again by itself.
    this.#client.on('error', () => {});
    this.#client.on('message', (topic, payload) => this.#message(topic, payload));
  }

  /** Resolves when the subscriptions hold; rejects when the broker refuses them. Waits for a broker that is not there yet. */
  static async connect(options: InboxOptions): Promise<OfficeInbox> {
    const inbox = new OfficeInbox(options);
    const names = ['event', 'open', 'presence', 'reading', 'trip', 'gap'] as const;
    const filters = names.map((name) => topicFilter(inbox.#root, options.fleet ?? '+', name));
    await inbox.#client.subscribeAsync(filters, { qos: 1 });
    return inbox;
  }

  /** Up to and with this number nothing of the store is missing since the first event that was seen of it. */
  receivedUpTo(from: Sender, store: string): number {
    return this.#seen.get(`${from.fleet}/${from.truck}/${store}`)?.withoutHole ?? 0;
  }

  /** Publishes the office's whole answer to a truck, retained; resolves at the PUBACK. */
  async answer(to: Sender, answer: AnswerMessage): Promise<void> {
    const payload = JSON.stringify(answerSchema.parse(answer));
    await this.#client.publishAsync(topicOf(this.#root, to.fleet, to.truck, 'answer'), payload, {
      qos: 1,
      retain: true,
    });
  }

  async close(): Promise<void> {
    await this.#client.endAsync(true);
  }

  #message(topic: string, payload: Uint8Array): void {
    const parsed = parseTopic(this.#root, topic);
    if (parsed === null) {
      this.#drop('foreign', topic, 'not a topic of ours');
      return;
    }
    if (payload.length === 0) return; // a retained message has been removed
    const from = { fleet: parsed.fleet, truck: parsed.truck };
    const read = <S extends z.ZodType>(schema: S, max: number, take: (message: z.infer<S>) => void): void => {
      const { message, error } = parsePayload(schema, payload, max);
      if (error !== null) this.#drop('invalid', topic, error);
      else take(message);
    };
    if (parsed.name === 'event') read(eventSchema, MAX_EVENT_BYTES, (message) => this.#event(topic, message, from));
    else if (parsed.name === 'gap') read(gapSchema, MAX_GAP_BYTES, (gap) => this.#options.onGap?.(gap, from));
    else if (parsed.name === 'trip') read(tripTopicSchema, MAX_TRIP_BYTES, (trip) => this.#trip(trip, from));
    else if (parsed.name === 'open') read(openSchema, MAX_OPEN_BYTES, (open) => this.#options.onOpen?.(open, from));
    else if (parsed.name === 'presence') {
      read(presenceSchema, MAX_PRESENCE_BYTES, (presence) => this.#options.onPresence?.(presence, from));
    } else if (parsed.name === 'reading') {
      read(readingSchema, MAX_READING_BYTES, (reading) => this.#options.onReading?.(reading, from));
    }
  }

  #trip(message: ReceivedTrip | ReceivedCheck, from: Sender): void {
    if (message.kind === 'start-check') this.#options.onStartCheck?.(message, from);
    else this.#options.onTrip?.(message, from);
  }

  #event(topic: string, event: ReceivedEvent, from: Sender): void {
    if (event.fleet !== from.fleet || event.truck !== from.truck) {
      this.#drop('foreign', topic, 'the payload names another fleet or truck');
      return;
    }
    const key = `${from.fleet}/${from.truck}/${event.store}`;
    const seen = this.#seen.get(key) ?? new SeqSet();
    this.#seen.delete(key);
    this.#seen.set(key, seen);
    if (this.#seen.size > MAX_STORES) {
      const oldest = this.#seen.keys().next();
      if (!oldest.done) this.#seen.delete(oldest.value);
    }
    if (!seen.add(event.seq)) {
      this.counts.repeated += 1;
      return;
    }
    this.counts.events += 1;
    this.#options.onEvent?.(event, from);
  }

  #drop(kind: 'invalid' | 'foreign', topic: string, why: string): void {
    this.counts[kind] += 1;
    this.#options.onDropped?.(topic, why);
  }
}
