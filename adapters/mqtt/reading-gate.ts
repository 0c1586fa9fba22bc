import type { MqttClient } from 'mqtt';

/**
 * isRetained: the broker had kept it, and gives it because of a new subscription. A promise holds the reader back: neither is this
 * message acknowledged nor the next one read until it is resolved.
 */
export type TakeMessage = (topic: string, payload: Uint8Array, isRetained: boolean) => void | Promise<void>;

/**
 * Lets the taker of messages set the pace. While it holds, nothing else of the connection is read either: acknowledgements and
 * answers to pings wait behind the message, so that their absence proves nothing.
 */
export class ReadingGate {
  /** Messages that were held so far: grows with each. */
  holds = 0;
  #holding = false;

  /** `failed` is told when a promise is rejected; it must end the connection, as the message is not acknowledged. */
  constructor(client: MqttClient, take: TakeMessage, failed: (error: unknown) => void) {
    client.handleMessage = (packet, done) => {
      const pending = take(packet.topic.toString(), packet.payload as Uint8Array, packet.retain === true);
      if (pending === undefined) {
        done();
        return;
      }
      this.holds += 1;
      this.#holding = true;
      pending.then(
        () => {
          this.#holding = false;
          done();
        },
        (error: unknown) => {
          this.#holding = false;
          failed(error);
        },
      );
    };
    const timedOut = client.onKeepaliveTimeout.bind(client);
    let holdsSeen = 0;
    client.onKeepaliveTimeout = () => {
      if (!this.#holding && this.holds === holdsSeen) {
        timedOut();
        return;
      }
      holdsSeen = this.holds;
      // The broker must hear of us in time all the same.
      client.sendPing();
      client.reschedulePing(true);
    };
  }

  /** Nothing is read at this moment. */
  get holding(): boolean {
    return this.#holding;
  }
}
