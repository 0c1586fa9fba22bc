import type { WallMs } from '../../daemon/time.js';

/** What is known of the connection to the broker. */
export interface LinkView {
  /** Protocol, host and port. */
  broker: string;
  /** null: it is connected, or nothing has been tried yet. */
  away: { sinceMs: WallMs; why: string } | null;
  /** null before the first connection. */
  version: 4 | 5 | null;
  wantsShared: boolean;
  /** null: not decided yet. */
  isShared: boolean | null;
  refused: readonly string[];
  keepsRetained: boolean;
  /** Gives retained messages to subscriptions with a wildcard; null: not known. */
  givesRetained: boolean | null;
  takesWildcards: boolean;
}

const UNTIL_THEY_SPEAK = 'trucks are shown as last heard until they speak';
/** A list of what is refused need not be longer to be understood. */
const MAX_NAMED = 3;

/** What the broker lacks, and that it is away: one line each, for people. */
export function notesOf(view: LinkView): string[] {
  const notes: string[] = [];
  if (view.away !== null) {
    const since = new Date(view.away.sinceMs).toISOString();
    notes.push(
      `the broker ${view.broker} is away since ${since.slice(0, 10)} ${since.slice(11, 16)} UTC: ${view.away.why}`,
    );
  }
  if (view.wantsShared && view.isShared === false) {
    const lacks = view.version === 4 ? 'this broker speaks MQTT 3.1.1 only' : 'this broker has no shared subscriptions';
    notes.push(`${lacks}: several instances cannot share it, each hears everything`);
  }
  if (!view.takesWildcards) notes.push('this broker takes no subscriptions with wildcards: no truck can be heard');
  else if (view.refused.length > 0) {
    const named = view.refused.slice(0, MAX_NAMED).join(', ');
    const more = view.refused.length > MAX_NAMED ? ` and ${view.refused.length - MAX_NAMED} more` : '';
    notes.push(`the broker does not let the office hear ${named}${more}: give its user the right to read them`);
  }
  if (!view.keepsRetained) {
    notes.push(
      `this broker keeps no retained messages: ${UNTIL_THEY_SPEAK}, and a truck that is away gets its answer only after that`,
    );
  } else if (view.givesRetained === false) {
    notes.push(`this broker gives no retained messages to wildcard subscriptions: ${UNTIL_THEY_SPEAK}`);
  }
  return notes;
}
