import { AnswerReceiver } from '../../../adapters/mqtt/answer-receiver.js';
import { Backoff } from '../../../adapters/mqtt/backoff.js';
import type { PublisherClock } from '../../../adapters/mqtt/clock.js';
import type { Answered } from '../../../adapters/mqtt/connection.js';
import type { Encoded } from '../../../adapters/mqtt/encode.js';
import { LatestSender } from '../../../adapters/mqtt/latest-sender.js';
import { OutboxSender } from '../../../adapters/mqtt/outbox-sender.js';
import { DEFAULT_TIMINGS, type PresenceState, WINDOW } from '../../../adapters/mqtt/publisher-options.js';
import { LIVE_ROOT, type TopicName } from '../../../adapters/mqtt/topics.js';
import { TruckMessages } from '../../../adapters/mqtt/truck-messages.js';
import { isoTime } from '../../../daemon/alerts/iso-time.js';
import type { RunInfo } from '../../../daemon/alerts/numbered.js';
import type { Random } from '../../../simulator/random.js';
import type { PresenceName, Shown } from './messages.js';
import { draftOf, LIFE, readingOf, storyOf, type Trouble } from './stories.js';
import { TruckStore } from './truck-store.js';
import { Wire } from './wire.js';

export interface TruckOptions {
  fleet: string;
  name: string;
  port: number;
  run: RunInfo;
  clock: PublisherClock;
  random: Random;
  onCommit(alert: string, shown: Shown, isConnected: boolean): void;
  /** The office has confirmed so many events. */
  onConfirmed(events: number): void;
  onUp(): void;
  onDown(): void;
}

const STORE_LETTERS = 'abcdefghijklmnopqrstuvwxyz0123456789';

/**
 * A simulated truck. What it sends, when and how often is decided by the program's own senders (adapters/mqtt/); only the
 * connection, the store and the troubles are simple ones.
 */
export class Truck {
  readonly name: string;
  readonly store: TruckStore;
  readonly #options: TruckOptions;
  readonly #messages: TruckMessages;
  readonly #latest: LatestSender;
  readonly #outbox: OutboxSender;
  readonly #answers: AnswerReceiver;
  readonly #backoff: Backoff;
  #wire: Wire | null = null;
  #upAtMs: number | null = null;
  #isStopped = false;
  #alerts = 0;
  #trip = 1;
  #tripAt = 0;
  others = 0;

  constructor(options: TruckOptions) {
    const { fleet, name, run, clock, random } = options;
    this.#options = options;
    this.name = name;
    const id = Array.from({ length: 12 }, () => STORE_LETTERS[random.whole(0, STORE_LETTERS.length - 1)]).join('');
    this.store = new TruckStore(id, run, () => clock.streamNow(), options.onConfirmed);
    const source = this.store;
    const presence = presenceOf('awake');
    this.#messages = new TruckMessages({
      ...{ source, fleet, truck: name, clock, presence, url: 'mqtt://127.0.0.1', confirm: 'office' },
      ...{ version: '0.1.0', config: () => '9c1e44d0' },
    });
    const failed = (error: unknown): never => {
      throw error;
    };
    const changed = (): void => this.#pump();
    const timings = DEFAULT_TIMINGS;
    this.#latest = new LatestSender({
      ...{ source, messages: this.#messages, presence, changed, storeFailed: failed, clock },
      refusedMs: timings.refusedMs,
    });
    this.#outbox = new OutboxSender({
      ...{ source, confirm: 'office', timings, clock, changed, storeFailed: failed },
      encode: (event) => this.#messages.event(event),
      storeChanged: () => this.#latest.storeChanged(),
    });
    this.#answers = new AnswerReceiver({
      ...{ topic: this.#messages.topic('answer'), clock, subackMs: timings.subackMs, ready: changed },
      warn: (line) => failed(new Error(line)),
      onAnswer: ({ received }) => {
        if (received !== null) this.#outbox.received(received.store, received.seq);
        this.#pump();
      },
    });
    this.#backoff = new Backoff(timings.backoff, () => random.next());
  }

  get sent(): { events: number; repeated: number; others: number } {
    const { eventsSent, eventsRepeated } = this.#outbox.count;
    return { events: eventsSent, repeated: eventsRepeated, others: this.others };
  }

  connect(): void {
    if (this.#isStopped) return;
    const { port, fleet, clock } = this.#options;
    this.#wire = new Wire({
      port,
      clientId: `${LIVE_ROOT}-${fleet}-${this.name}`,
      will: {
        topic: this.#messages.topic('presence'),
        payload: this.#messages.presence({ ...this.#latest.presence, state: 'offline', since: null }).json,
      },
      onConnected: (wire) => this.#up(wire),
      onMessage: (topic, payload) => this.#answers.message(topic, payload),
      onEnd: () => {
        this.#down();
        if (!this.#isStopped) clock.after(this.#backoff.nextMs(), () => this.connect());
      },
    });
  }

  /** The radio loses it. */
  lose(): void {
    this.#wire?.end();
  }

  stop(): void {
    this.#isStopped = true;
    this.lose();
  }

  raise(): Trouble {
    const alert = ++this.#alerts;
    const { store, lastSeq } = this.store.opened;
    const id = `${this.name}.${store}.${lastSeq + 1}`;
    const raisedAt = this.#options.clock.streamNow();
    const trouble = { alert, id, story: storyOf(this.#options.random), raisedAt, step: 0 };
    this.store.troubles.push(trouble);
    this.#commit(trouble);
    return trouble;
  }

  /** The next change of its life. True when that was the last one. */
  advance(trouble: Trouble): boolean {
    trouble.step++;
    const isOver = trouble.step === LIFE.length - 1;
    if (isOver) this.store.troubles.splice(this.store.troubles.indexOf(trouble), 1);
    this.#commit(trouble);
    return isOver;
  }

  #commit(trouble: Trouble): void {
    const draft = draftOf(trouble, this.#options.clock.streamNow());
    this.store.commit(draft, trouble.id);
    const shown = draft.change === 'cleared' ? 'gone' : draft.urgency;
    this.#options.onCommit(trouble.id, shown, this.#upAtMs !== null);
    this.#outbox.poke();
    this.#latest.changed('open');
    this.#pump();
  }

  read(): void {
    const { clock, random, run } = this.#options;
    this.#latest.reading({ t: clock.streamNow(), r: readingOf(random) }, run);
    this.#pump();
  }

  /** awake → parked → asleep → awake */
  nextPresence(): void {
    const { clock, run } = this.#options;
    const t = clock.streamNow();
    const { state } = this.#latest.presence;
    const next = state === 'awake' ? 'parked' : state === 'parked' ? 'asleep' : 'awake';
    this.#latest.presence = presenceOf(next, run.zeroWallMs + t);
    if (next === 'parked') {
      this.store.tripEnded(this.#trip++, this.#tripAt);
      this.#latest.changed('trip');
      this.read();
    } else if (next === 'awake') {
      this.#tripAt = t;
      this.store.tripChecked(this.#trip, t);
      this.#latest.changed('trip');
    }
    this.#pump();
  }

  #up(wire: Wire): void {
    this.#upAtMs = this.#options.clock.nowMs();
    this.#options.onUp();
    const room = (): number => Math.min(WINDOW, wire.receiveMaximum) - wire.inFlight - this.#latest.reserved;
    const send = (name: TopicName, { json }: Encoded, answered: Answered): void => {
      wire.send(this.#messages.topic(name), json, this.#messages.isRetained(name), {
        acknowledged: () => {
          answered.acknowledged();
          this.#pump();
        },
        refused: answered.refused,
      });
    };
    this.#latest.up({
      room,
      send: (...message) => {
        this.others++;
        send(...message);
      },
    });
    this.#outbox.up({ room, sendEvent: (encoded, answered) => send('event', encoded, answered) });
    this.#answers.up(wire);
  }

  #down(): void {
    if (this.#upAtMs !== null) {
      this.#backoff.connectionLasted(this.#options.clock.nowMs() - this.#upAtMs);
      this.#options.onDown();
    }
    this.#upAtMs = null;
    this.#wire = null;
    this.#answers.down();
    this.#latest.down();
    this.#outbox.down();
  }

  #pump(): void {
    if (this.#upAtMs === null) return;
    this.#latest.pump();
    if (this.#latest.boardCurrent) this.#outbox.pump();
  }
}

const presenceOf = (state: PresenceName, wallMs = Date.now()): PresenceState => ({
  ...{ state, bus: { main: 'listen-only' }, degraded: [] },
  since: isoTime(wallMs),
});
