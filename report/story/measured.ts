import type { Measured } from '../../daemon/alerts/event.js';
import type { GatheredEvent } from '../gathered.js';

/** A number that was measured, with its unit. */
export type Numbers = Extract<Measured, { quantity: string }>;

/** What an event has measured; null: nothing, a code, or a silence. */
export function numbersOf(event: GatheredEvent | undefined): Numbers | null {
  const measured = event?.draft.measured ?? null;
  return measured !== null && 'quantity' in measured ? measured : null;
}
