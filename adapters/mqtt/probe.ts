import { lookup } from 'node:dns/promises';
import { connect, type Socket } from 'node:net';
import { connect as tlsConnect } from 'node:tls';
import type { IClientOptions } from 'mqtt';
import type { BrokerAddress } from './broker-url.js';
import { hostTimers } from './clock.js';
import { Connection, type ConnectionEnd, type ProtocolVersion } from './connection.js';
import { errorLine } from './error-line.js';
import { tlsOptions } from './stream.js';

/** In this order. `tls` is left out where the URL has none. */
export type ProbeStepName = 'resolve' | 'tcp' | 'tls' | 'connect' | 'subscribe' | 'puback' | 'echo';

export interface ProbeStep {
  name: ProbeStepName;
  ok: boolean;
  ms: number;
  /** For people: what was found, or what is wrong. Holds no credentials. */
  line: string;
}

export interface ProbeOptions {
  address: BrokerAddress;
  /** Credentials as readCredentials gives them, and other options of the MQTT client. */
  client: IClientOptions;
  /** Not the truck's own, or its connection would be taken over. */
  clientId: string;
  topic: string;
  payload: string;
  /** Each step may take so long. */
  stepMs?: number;
  /** Is the host's clock known to be right? */
  clockSynced?: () => boolean;
  /** Each step as soon as it is done. */
  onStep?: (step: ProbeStep) => void;
}

const STEP_MS = 10_000;
const NO_ECHO = 'acknowledged, but it did not come back: this user may not write there, or not read';

/**
 * Tries the way to the broker step by step: name, TCP, TLS, MQTT, then subscribes to `topic`, publishes `payload` there and waits
 * for it to come back. Name, TCP and TLS are tried by a connection of their own, so that each has its time and its words; the
 * rest is done as the publisher does it. Gives the steps that were tried: all went well if the last is `echo` and ok. Of a
 * refused subscription the message is still published. Never rejects.
 */
export async function probeBroker(options: ProbeOptions): Promise<ProbeStep[]> {
  return new Probe(options).run();
}

/** What a step found, in words. Throws a Stop with the words of what is wrong. */
type Attempt = () => Promise<string>;

class Stop extends Error {}

class Probe {
  readonly #options: ProbeOptions;
  readonly #stepMs: number;
  readonly #steps: ProbeStep[] = [];
  #connection: Connection | null = null;
  #ended: ((end: ConnectionEnd) => void) | null = null;
  #arrived: (() => void) | null = null;
  #end: ConnectionEnd | null = null;

  constructor(options: ProbeOptions) {
    this.#options = options;
    this.#stepMs = options.stepMs ?? STEP_MS;
  }

  async run(): Promise<ProbeStep[]> {
    try {
      await this.#tryAll();
    } finally {
      await this.#connection?.disconnect(1000);
    }
    return this.#steps;
  }

  async #tryAll(): Promise<void> {
    if (!(await this.#try('resolve', () => this.#resolve()))) return;
    if (!(await this.#transport())) return;
    if (!(await this.#try('connect', () => this.#connect()))) return;
    const subscribed = await this.#try('subscribe', () => this.#subscribe());
    // Before the message is sent: its echo may overtake its acknowledgement.
    const echo = new Promise<string>((resolve) => {
      this.#arrived = () => resolve('the message came back');
    });
    const since = performance.now();
    if (!(await this.#try('puback', () => this.#publish())) || !subscribed) return;
    await this.#try('echo', () => this.#within(echo, NO_ECHO), since);
  }

  async #try(name: ProbeStepName, attempt: Attempt, since = performance.now()): Promise<boolean> {
    let ok = true;
    let line: string;
    try {
      line = await attempt();
    } catch (error) {
      ok = false;
      line = error instanceof Stop ? error.message : this.#lineOf(error);
    }
    const step = { name, ok, ms: Math.round(performance.now() - since), line };
    this.#steps.push(step);
    this.#options.onStep?.(step);
    return ok;
  }

  async #resolve(): Promise<string> {
    const { host } = this.#options.address;
    const found = lookup(host, { all: true }).catch((error: { code?: string }) => {
      throw new Stop(`${host} is not known (${error.code}): is the name right, and is there a network?`);
    });
    const addresses = await this.#within(found, `no answer of the name service about ${host}`);
    return addresses.map(({ address }) => address).join(', ');
  }

  /** TCP and, where the URL has it, TLS. */
  async #transport(): Promise<boolean> {
    const { address } = this.#options;
    const socket = connect({ host: address.host, port: address.port });
    socket.on('error', () => {});
    try {
      const tcp = await this.#try('tcp', () => this.#tcp(socket));
      return tcp && (!address.tls || (await this.#try('tls', () => this.#tls(socket))));
    } finally {
      socket.destroy();
    }
  }

  #tcp(socket: Socket): Promise<string> {
    const { port } = this.#options.address;
    const connected = new Promise<string>((resolve, reject) => {
      socket.once('connect', () => resolve(`port ${port} answers`));
      socket.once('error', (error: { code?: string }) => {
        const refused =
          error.code === 'ECONNREFUSED' ? `nothing listens on port ${port}` : `port ${port} is out of reach`;
        reject(new Stop(`${refused} (${error.code})`));
      });
    });
    return this.#within(connected, `port ${port} does not answer: a firewall, or no such host`);
  }

  #tls(socket: Socket): Promise<string> {
    const { address, client } = this.#options;
    const secured = new Promise<string>((resolve, reject) => {
      const secure = tlsConnect({ ...tlsOptions(address, client), socket });
      secure.once('secureConnect', () => {
        const { subject, valid_to: until } = secure.getPeerCertificate();
        resolve(`${secure.getProtocol()}, certificate of ${subject?.CN ?? address.host} until ${until}`);
        secure.destroy();
      });
      secure.on('error', reject);
      secure.once('close', () => reject(new Stop('the broker closed the connection before TLS stood')));
    });
    return this.#within(secured, 'no answer to TLS: is that the port for encrypted connections?');
  }

  async #connect(): Promise<string> {
    let end = await this.#attempt(5);
    const olderMayWork = end?.reason === 'refused-version' || end?.reason === 'closed-before-connack';
    if (olderMayWork) end = (await this.#attempt(4)) ?? null;
    if (end !== null) throw new Stop(end.detail);
    return `MQTT ${olderMayWork ? '3.1.1' : '5'}`;
  }

  /** Null when the broker took us. */
  #attempt(version: ProtocolVersion): Promise<ConnectionEnd | null> {
    const { address, client, clientId, topic, payload, clockSynced } = this.#options;
    return new Promise((resolve) => {
      this.#end = null;
      this.#connection = new Connection({
        address,
        version,
        clientId,
        will: null,
        client,
        connectMs: this.#stepMs,
        pubackMs: this.#stepMs,
        clock: hostTimers(),
        clockSynced: clockSynced ?? (() => true),
        onConnected: () => resolve(null),
        onMessage: (at, bytes) => {
          if (at === topic && Buffer.from(bytes).toString() === payload) this.#arrived?.();
        },
        onEnd: (end) => {
          this.#end = end;
          resolve(end);
          this.#ended?.(end);
        },
      });
    });
  }

  #subscribe(): Promise<string> {
    const { topic } = this.#options;
    return this.#unlessEnded((resolve, reject) => {
      this.#connection?.subscribe([topic], ([granted]) => {
        if (granted === true) resolve(topic);
        else reject(new Stop(`the broker refuses the subscription to ${topic}: give this user the right to read it`));
      });
    });
  }

  #publish(): Promise<string> {
    const { topic, payload } = this.#options;
    return this.#unlessEnded((resolve, reject) => {
      this.#connection?.send(topic, payload, false, {
        acknowledged: () => resolve(`acknowledged on ${topic}`),
        // MQTT 5 says so in the acknowledgement; 3.1.1 cannot.
        refused: (why) => {
          const words = `the broker refuses the message on ${topic} (${why})`;
          reject(new Stop(`${words}: give this user the right to write it`));
        },
      });
    });
  }

  /** The connection's end, which has its own limits of time, is the end of a step. */
  #unlessEnded(start: (resolve: (line: string) => void, reject: (error: Stop) => void) => void): Promise<string> {
    return new Promise((resolve, reject) => {
      this.#ended = (end) => reject(new Stop(end.detail));
      if (this.#end === null) start(resolve, reject);
      else this.#ended(this.#end);
    });
  }

  #within<T>(task: Promise<T>, words: string): Promise<T> {
    const seconds = `${Math.round(this.#stepMs / 100) / 10} s`;
    let cancel = (): void => {};
    const late = new Promise<never>((_, reject) => {
      cancel = hostTimers().after(this.#stepMs, () => reject(new Stop(`${words} (${seconds})`)));
    });
    return Promise.race([task, late]).finally(() => cancel());
  }

  #lineOf(error: unknown): string {
    return errorLine(error, { wallMs: Date.now(), isRight: this.#options.clockSynced?.() ?? true });
  }
}
