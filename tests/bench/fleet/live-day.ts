import type { Random } from '../../../simulator/random.js';
import { DAY, perSecond } from './day.js';
import type { Trouble } from './stories.js';
import type { Truck } from './truck.js';

const STEP_MS = 20;

/** One kind of thing that happens, somewhere in the fleet, at random moments: times between two are exponential. */
interface Activity {
  perTruckDay: number;
  act(): void;
  nextMs: number;
}

/** Lets a fleet's day go on: chooses which truck does what, and when. */
export class LiveDay {
  readonly #trucks: readonly Truck[];
  readonly #random: Random;
  /** Alerts that are open, so that their number stays about what it was. */
  readonly #troubles: { truck: Truck; trouble: Trouble }[] = [];
  readonly #activities: Activity[];
  #timer: NodeJS.Timeout | null = null;
  #nextReader = 0;

  constructor(trucks: readonly Truck[], random: Random) {
    this.#trucks = trucks;
    this.#random = random;
    this.#activities = [
      { perTruckDay: DAY.readings, act: () => this.#read() },
      { perTruckDay: DAY.alerts * DAY.eventsPerAlert, act: () => this.#event() },
      { perTruckDay: DAY.stops * 3, act: () => this.#one().nextPresence() },
      { perTruckDay: DAY.losses, act: () => this.#one().lose() },
    ].map((activity) => ({ ...activity, nextMs: 0 }));
  }

  /** One truck in `every` has an open alert before anybody connects. */
  prepare(every: number): void {
    for (const [i, truck] of this.#trucks.entries()) {
      if (i % every === 0) this.#troubles.push({ truck, trouble: truck.raise() });
    }
  }

  /** So many times as busy as a day is; 0: nothing happens. */
  run(factor: number): void {
    if (this.#timer !== null) clearInterval(this.#timer);
    this.#timer = null;
    if (factor === 0) return;
    for (const activity of this.#activities) activity.nextMs = performance.now() + this.#pauseMs(activity, factor);
    this.#timer = setInterval(() => this.#step(factor), STEP_MS);
  }

  #step(factor: number): void {
    const now = performance.now();
    for (const activity of this.#activities) {
      while (activity.nextMs <= now) {
        activity.act();
        activity.nextMs += this.#pauseMs(activity, factor);
      }
    }
  }

  #pauseMs({ perTruckDay }: Activity, factor: number): number {
    return (-Math.log(1 - this.#random.next()) * 1000) / (perSecond(perTruckDay, this.#trucks.length) * factor);
  }

  #one(): Truck {
    return this.#trucks[this.#random.whole(0, this.#trucks.length - 1)]!;
  }

  #read(): void {
    this.#trucks[this.#nextReader++ % this.#trucks.length]!.read();
  }

  /** Of an alert's four changes one is its beginning: so often a new one begins. */
  #event(): void {
    if (this.#troubles.length === 0 || this.#random.chance(1 / DAY.eventsPerAlert)) {
      const truck = this.#one();
      this.#troubles.push({ truck, trouble: truck.raise() });
      return;
    }
    const at = this.#random.whole(0, this.#troubles.length - 1);
    const { truck, trouble } = this.#troubles[at]!;
    if (truck.advance(trouble)) this.#troubles.splice(at, 1);
  }
}
