import { createContext } from 'preact';
import { useContext } from 'preact/hooks';
import type { Asked, Me, Outcome } from '../live/http.js';
import type { Units } from '../words/units.js';
import type { BoardState } from './state.js';

/** What every part of the page needs. */
export interface Desk {
  me: Me;
  units: Units;
  /** The office's clock, each second anew. */
  nowMs: number;
  /** By fleet and urgency: so long nobody may have an alert before it is called untaken. */
  untakenMs: BoardState['untakenMs'];
  /** Sends a wish; what came of it is also shown beside the alert. */
  wish(truck: { fleet: string; truck: string }, asked: Asked): Promise<void>;
  /** By id of alert: a wish that is on its way to the office, or what became of the last one. */
  outcomes: ReadonlyMap<string, Outcome | { kind: 'sending' }>;
  /** By id of alert: forms that are open. Here, and not in the row, as a row may go to another group while somebody types. */
  drafts: ReadonlyMap<string, Draft>;
  draft(alert: string, draft: Draft | null): void;
  /** Marks of news that nobody at this browser has looked at. */
  unread: ReadonlySet<string>;
  see(marks: string[]): void;
}

export interface Draft {
  what: 'note' | 'snooze' | 'close';
  note: string;
  minutes: number;
}

export const DeskContext = createContext<Desk | null>(null);

export function useDesk(): Desk {
  const desk = useContext(DeskContext);
  if (desk === null) throw new Error('outside of the desk');
  return desk;
}
