import { randomBytes } from 'node:crypto';
import type { EventDraft } from '../alerts/event.js';
import type { NumberedEvent, RunInfo } from '../alerts/numbered.js';
import { Numberer } from '../alerts/numbering.js';

/** Ids of open alerts remembered from the store; the oldest go first. */
const MAX_IDS = 4_096;

/**
 * Numbers events that the store cannot take: a random id of a store that does not exist, with its own numbers from 1. An alert
 * that the real store knows keeps its id.
 */
export class Volatile {
  readonly #numberer: Numberer;
  readonly #ids = new Map<number, string>();

  constructor(truck: string, store = `~${randomBytes(6).toString('hex').slice(0, 11)}`) {
    this.#numberer = new Numberer({ truck, store });
  }

  /** Events that the real store has taken. */
  learn(events: readonly NumberedEvent[]): void {
    for (const { draft, alertId } of events) this.know(draft.alert, alertId);
  }

  know(alert: number, id: string): void {
    this.#ids.set(alert, id);
    if (this.#ids.size <= MAX_IDS) return;
    const oldest = this.#ids.keys().next();
    if (oldest.done !== true) this.#ids.delete(oldest.value);
  }

  number(events: readonly EventDraft[], run: RunInfo): NumberedEvent[] {
    return this.#numberer.number(events, run).map((event) => ({
      ...event,
      stored: false,
      alertId: this.#ids.get(event.draft.alert) ?? event.alertId,
      causeId: (event.draft.cause === null ? undefined : this.#ids.get(event.draft.cause)) ?? event.causeId,
    }));
  }
}
