import { useState } from 'preact/hooks';
import { type Me, type Outcome, wish } from '../live/http.js';
import type { Desk } from './desk.js';

/** Sends wishes, and remembers what became of the last one of each alert. */
export function useWishes(me: Me, onSignedOut: () => void): Pick<Desk, 'wish' | 'outcomes'> {
  const [outcomes, setOutcomes] = useState<ReadonlyMap<string, Outcome | { kind: 'sending' }>>(new Map());
  const set = (alert: string, outcome: Outcome | { kind: 'sending' }): void =>
    setOutcomes((before) => {
      const next = new Map(before);
      // What was sent shows in the alert itself.
      if (outcome.kind === 'sent') next.delete(alert);
      else next.set(alert, outcome);
      return next;
    });
  return {
    outcomes,
    wish: async (truck, asked) => {
      set(asked.alert, { kind: 'sending' });
      const outcome = await wish(me, truck, asked);
      set(asked.alert, outcome);
      if (outcome.kind === 'signed-out') onSignedOut();
    },
  };
}
