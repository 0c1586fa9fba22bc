import { randomBytes } from 'node:crypto';
import type { EventDraft } from '../alerts/event.js';
import type { DecidedBy, NumberedEvent, RunInfo } from '../alerts/numbered.js';
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

  /** Ordinal of an alert by the id that it was told under, or null. */
  ordinalOf(id: string): number | null {
    for (const [ordinal, known] of this.#ids) if (known === id) return ordinal;
    return null;
  }

  number(events: readonly EventDraft[], run: RunInfo, by: DecidedBy): NumberedEvent[] {
    return this.#numberer.number(events, run, by).map((event) => {
      const { alert, cause } = event.draft;
      const alertId = this.#ids.get(alert) ?? event.alertId;
      // Should the office decide about it before the store knows it.
      this.know(alert, alertId);
      const causeId = (cause === null ? undefined : this.#ids.get(cause)) ?? event.causeId;
      return { ...event, stored: false, alertId, causeId };
    });
  }
}
