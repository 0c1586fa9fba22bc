/** Connections in a row that broke while it was on its way. */
const STRIKES = 3;
/** What is suspected waits so long for a connection that has lasted. */
export const SUSPECT_MS = 5_000;

/**
 * A broker of MQTT 3.1.1 that does not want a topic has no word for it and may close the connection (MQTT 3.1.1 §3.3.5). Then
 * the next connection would meet the same end, and nothing else would ever leave. So whatever was on its way when three
 * connections in a row broke goes last: it waits while what is not suspected leaves.
 */
export class Suspects<Name extends string> {
  readonly #onWay = new Set<Name>();
  readonly #strikes = new Map<Name, number>();

  /** It is on its way. */
  sent(name: Name): void {
    this.#onWay.add(name);
  }

  /** The broker has answered, whatever it said. */
  answered(name: Name): void {
    this.#onWay.delete(name);
    this.#strikes.delete(name);
  }

  /** The connection has ended. */
  down(): void {
    for (const name of this.#onWay) this.#strikes.set(name, (this.#strikes.get(name) ?? 0) + 1);
    this.#onWay.clear();
  }

  has(name: Name): boolean {
    return (this.#strikes.get(name) ?? 0) >= STRIKES;
  }
}
