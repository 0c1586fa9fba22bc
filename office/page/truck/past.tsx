import { useDesk } from '../board/desk.js';
import { UrgencyTag } from '../board/glyph.js';
import type { PastAlert } from '../words/past.js';
import { changeWords, ruleWords } from '../words/rules.js';
import { moment } from '../words/time.js';

interface PastProps {
  alerts: readonly PastAlert[];
  chosen: string | null;
  choose: (id: string) => void;
}

/** What was and is open, latest change first; each can be looked at with the hours around it. */
export function Past({ alerts, chosen, choose }: PastProps) {
  const { nowMs } = useDesk();
  if (alerts.length === 0) return <p class="nothing">No alert of it is in the store.</p>;
  return (
    <ul class="past">
      {alerts.map((past) => (
        <li key={past.id}>
          <UrgencyTag urgency={past.worst} />
          <span class="what">
            {past.place}: <b>{ruleWords(past.rule)}</b>, {moment(past.sinceMs, nowMs)}
            {past.ended === null ? ', open' : ` to ${moment(past.ended.ms, nowMs)}, ${changeWords(past.ended.event)}`}
            {past.who !== null && `; ${past.who} had it`}
            {past.notes.map(({ note }) => ` “${note}”`)}
          </span>
          <button type="button" aria-pressed={chosen === past.id} onClick={() => choose(past.id)}>
            Hours around it
            <span class="hidden">
              : {past.place}, {ruleWords(past.rule)}
            </span>
          </button>
        </li>
      ))}
    </ul>
  );
}
