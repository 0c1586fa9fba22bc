import type { FrameSink, RareInput } from '../input.js';
import type { StreamMs } from '../time.js';
import type { Session } from './session.js';

/**
 * Gives a recording to a session as the live run had it: answers, reloads and the clock each at its time between the frames,
 * and of the frames those that are of interest by the configuration in force.
 */
export class Feeder implements FrameSink {
  readonly #session: Session;
  readonly #inputs: readonly RareInput[];
  readonly #busNames: ReadonlyMap<string, string>;
  #next = 0;
  /** Interfaces of the log in the order in which they came. */
  readonly #interfaces: string[] = [];
  /** By that number: the bus; −1: none. */
  #buses: number[] = [];
  #interest: Uint8Array;

  /** @param busNames interface → name of the bus, as recorded; another truck file may have the bus elsewhere */
  constructor(session: Session, inputs: readonly RareInput[], busNames: ReadonlyMap<string, string>) {
    this.#session = session;
    this.#inputs = inputs;
    this.#busNames = busNames;
    this.#interest = session.pipeline.interest;
  }

  /** For the parser: a number that `frame` then gets as its bus. */
  busOf(name: string): number {
    this.#buses.push(this.#busNow(name));
    return this.#interfaces.push(name) - 1;
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    this.#give(t);
    const number = this.#buses[bus]!;
    if (number < 0 || this.#interest[(id >>> 8) & 0x3ffff] === 0) return;
    this.#session.stepper.frame(t, number, id, data, length);
  }

  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    this.#give(t);
    const number = this.#buses[bus]!;
    if (number >= 0) this.#session.stepper.errorFrame(t, number, id, data, length);
  }

  /** Nothing comes before t. */
  advance(t: StreamMs): void {
    this.#give(t);
    this.#session.stepper.advance(t);
  }

  #give(t: StreamMs): void {
    for (let input = this.#inputs[this.#next]; input !== undefined && input.t <= t; input = this.#inputs[this.#next]) {
      this.#next++;
      const { run } = this.#session;
      if (input.kind === 'clock') this.#session.setRun({ ...run, zeroWallMs: input.zeroCalendarMs, synced: true });
      this.#session.rare(input);
      if (input.kind !== 'reload') continue;
      this.#interest = this.#session.pipeline.interest;
      this.#buses = this.#interfaces.map((name) => this.#busNow(name));
    }
  }

  #busNow(name: string): number {
    const { buses } = this.#session.config;
    const named = this.#busNames.get(name);
    const byName = buses.findIndex((bus) => bus.name === named);
    return byName >= 0 ? byName : buses.findIndex((bus) => bus.interface === name || bus.name === name);
  }
}
