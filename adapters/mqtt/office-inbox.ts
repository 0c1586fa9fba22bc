import mqtt, { type IClientOptions, type MqttClient } from 'mqtt';
import { parseBrokerUrl } from './broker-url.js';
import { readMessage, type Sender, TRUCK_TOPICS } from './message-reader.js';
import {
  type AnswerMessage,
  answerSchema,
  type GapMessage,
  type PresenceMessage,
  type ReceivedEvent,
  type ReceivedOpen,
  type ReceivedReading,
} from './messages.js';
import { SeqSet } from './seq-set.js';
import { LIVE_ROOT, topicFilter, topicOf } from './topics.js';
import type { ReceivedCheck, ReceivedTrip } from './trip-messages.js';

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
    const filters = TRUCK_TOPICS.map((name) => topicFilter(inbox.#root, options.fleet ?? '+', name));
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
    const read = readMessage(this.#root, topic, payload);
    if (read === null) return;
    if ('dropped' in read) {
      this.counts[read.dropped] += 1;
      this.#options.onDropped?.(topic, read.why);
      return;
    }
    const { from, heard } = read;
    if (heard.kind === 'event') this.#event(heard.message, from);
    else if (heard.kind === 'gap') this.#options.onGap?.(heard.message, from);
    else if (heard.kind === 'trip') this.#options.onTrip?.(heard.message, from);
    else if (heard.kind === 'start-check') this.#options.onStartCheck?.(heard.message, from);
    else if (heard.kind === 'open') this.#options.onOpen?.(heard.message, from);
    else if (heard.kind === 'presence') this.#options.onPresence?.(heard.message, from);
    else this.#options.onReading?.(heard.message, from);
  }

  #event(event: ReceivedEvent, from: Sender): void {
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
}
