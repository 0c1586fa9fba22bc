import { connect, type MqttClient } from 'mqtt';

/** An event as it came, with the fields that the rows look at. */
export interface Arrived {
  store: string;
  seq: number;
  alert: string;
  rule: string;
  subject: string;
  change: string;
  urgency: string;
  stored?: boolean;
  /** The payload without what differs from one sending to the next. */
  text: string;
}

export interface Presence {
  state: string;
  store: string;
  degraded: string[];
}

/** A naive office: keeps what comes, and confirms as the contract says. */
export class Office {
  /** Every event that came, also a second time, in order. */
  readonly events: Arrived[] = [];
  readonly gaps: { store: string; what: string; why: string; count: number }[] = [];
  readonly presences: Presence[] = [];
  readonly #client: MqttClient;
  readonly #root: string;
  /** Store → up to which number everything is here. */
  readonly #upTo = new Map<string, number>();
  #rev = 0;
  readonly #waiting = new Set<() => void>();

  private constructor(client: MqttClient, truck: string) {
    this.#client = client;
    this.#root = `axlepost/1/northline/${truck}`;
  }

  static async open(url: string, truck: string): Promise<Office> {
    const client = connect(url, { reconnectPeriod: 200 });
    const office = new Office(client, truck);
    client.on('message', (topic, payload) => office.#take(topic, payload));
    await new Promise((resolve) => client.once('connect', resolve));
    await client.subscribeAsync(`${office.#root}/+`, { qos: 1 });
    return office;
  }

  /** The highest number of this store up to which nothing is missing. */
  upTo(store: string): number {
    return this.#upTo.get(store) ?? 0;
  }

  /** Says that something was received which may never have been. */
  confirm(store: string, seq: number): void {
    const answer = { v: 1, rev: ++this.#rev, received: { store, seq }, trailer: null, decisions: [] };
    this.#client.publish(`${this.#root}/answer`, JSON.stringify(answer), { qos: 1, retain: true });
  }

  /** Resolves when it holds; looks after every message. */
  async until(what: string, holds: () => boolean, mostMs = 60_000): Promise<void> {
    if (holds()) return;
    await new Promise<void>((resolve, reject) => {
      const look = (): void => {
        if (!holds()) return;
        end();
        resolve();
      };
      // A commit may come without a message.
      const timer = setInterval(look, 100);
      const late = setTimeout(() => {
        end();
        reject(new Error(`waited ${mostMs} ms in vain: ${what}`));
      }, mostMs);
      const end = (): void => {
        clearInterval(timer);
        clearTimeout(late);
        this.#waiting.delete(look);
      };
      this.#waiting.add(look);
    });
  }

  async close(): Promise<void> {
    await this.#client.endAsync(true);
  }

  #take(topic: string, payload: Buffer): void {
    if (payload.length === 0) return;
    const message = JSON.parse(payload.toString());
    if (topic.endsWith('/event')) this.#event(message);
    if (topic.endsWith('/gap')) this.gaps.push(message);
    if (topic.endsWith('/presence')) this.presences.push(message);
    for (const look of [...this.#waiting]) look();
  }

  #event({ heldS: _, ...event }: Omit<Arrived, 'text'> & { heldS: unknown }): void {
    this.events.push({ ...event, text: JSON.stringify(event) });
    if (event.seq !== this.upTo(event.store) + 1 || event.stored === false) return;
    this.#upTo.set(event.store, event.seq);
    this.confirm(event.store, event.seq);
  }
}

/** What is open after these events: `rule subject urgency`, sorted. There is one alert per rule and subject, whatever its id. */
export function openAfter(events: readonly Arrived[]): string[] {
  const open = new Map<string, string>();
  for (const { rule, subject, change, urgency } of events) {
    if (change === 'cleared' || change === 'closed') open.delete(`${rule} ${subject}`);
    else open.set(`${rule} ${subject}`, urgency);
  }
  return [...open].map((parts) => parts.join(' ')).sort();
}
