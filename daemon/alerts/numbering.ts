import type { EventDraft } from './event.js';
import type { DecidedBy, NumberedEvent, RunInfo } from './numbered.js';

/** Ids remembered at once; the oldest go first. A shift has some tens of alerts, and none is looked up hours after its end. */
const MAX_IDS = 100_000;

/**
 * Numbers drafts where there is no database (a replay without a store), in the same way as the store does: `seq` from 1
 * without a hole, an alert's id is `<truck>.<store>.<seq of raised>`. An alert that was raised before the first event seen
 * here (a replay that starts from a saved state) takes the seq of its first event here.
 */
export class Numberer {
  readonly #truck: string;
  readonly #store: string;
  readonly #ids = new Map<number, string>();
  #seq = 0;

  constructor(options: { truck: string; store: string }) {
    this.#truck = options.truck;
    this.#store = options.store;
  }

  get lastSeq(): number {
    return this.#seq;
  }

  /** The id of an alert by ordinal, or null when no event of it has been numbered. */
  idOf(alert: number | null): string | null {
    return alert === null ? null : (this.#ids.get(alert) ?? null);
  }

  /** All events of one tick, so that a cause finds its id even when it comes later in the tick. */
  number(drafts: readonly EventDraft[], run: RunInfo, by: DecidedBy): NumberedEvent[] {
    const first = this.#seq + 1;
    drafts.forEach((draft, index) => {
      if (this.#ids.has(draft.alert) && draft.change !== 'raised') return;
      this.#remember(draft.alert, `${this.#truck}.${this.#store}.${first + index}`);
    });
    this.#seq += drafts.length;
    return drafts.map((draft, index) => ({
      seq: first + index,
      store: this.#store,
      boot: 1,
      stored: true,
      alertId: this.idOf(draft.alert) ?? `${this.#truck}.${this.#store}.${first + index}`,
      causeId: this.idOf(draft.cause),
      draft,
      run,
      by,
    }));
  }

  #remember(alert: number, id: string): void {
    this.#ids.set(alert, id);
    if (this.#ids.size <= MAX_IDS) return;
    const oldest = this.#ids.keys().next();
    if (!oldest.done) this.#ids.delete(oldest.value);
  }
}
