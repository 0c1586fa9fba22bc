import type { BoardAlert, BoardTruck } from '../../core/board-model.js';
import { askedWords, holder, untakenWords } from '../words/alerts.js';
import { CaseForm } from './case-form.js';
import { type Draft, useDesk } from './desk.js';
import { isUrgentAndFree, mayClose, maySnooze } from './groups.js';
import { controlId } from './kept-focus.js';

interface HandsProps {
  truck: BoardTruck;
  alert: BoardAlert;
  row: string;
}

const NEW_DRAFT = { note: '', minutes: 60 };

/** Who has it, and what can be done with it. */
export function CaseHands({ truck, alert, row }: HandsProps) {
  const desk = useDesk();
  const asked = askedWords(alert, desk.nowMs);
  const untaken = untakenWords(alert, desk.untakenMs[truck.fleet]?.[alert.urgency], desk.nowMs);
  const draft = desk.drafts.get(alert.id);
  const isMine = (alert.taken?.who ?? alert.asked?.who) === desk.me.name && alert.isTaken;
  const isSending = desk.outcomes.get(alert.id)?.kind === 'sending';
  const toggle = (what: Draft['what']): void =>
    desk.draft(alert.id, draft?.what === what ? null : { ...NEW_DRAFT, ...draft, what });
  const send = (what: 'take' | 'resume'): void =>
    void desk.wish(truck, { alert: alert.id, do: what, note: null, minutes: null });
  // One call to the driver may see to all that is urgent on a truck.
  const together = alert.isTaken || alert.isSnoozed ? [] : truck.alerts.filter(isUrgentAndFree);
  const takeAll = (): void => {
    for (const { id } of together) void desk.wish(truck, { alert: id, do: 'take', note: null, minutes: null });
  };
  const about = `${truck.truck}, ${alert.place}`;
  return (
    <div class="hands">
      <p class={`holder${alert.isTaken || alert.isSnoozed ? '' : ' nobody'}`}>{holder(alert, desk.nowMs)}</p>
      {untaken !== null && <p class="hint">{untaken}</p>}
      {asked !== null && <p class="asked">{asked}</p>}
      <Outcome alert={alert.id} />
      <div class="buttons">
        {alert.isSnoozed && (
          <button
            id={controlId(row, 'resume')}
            type="button"
            class="first"
            disabled={isSending}
            onClick={() => send('resume')}
          >
            Give back now<span class="hidden">: {about}</span>
          </button>
        )}
        {!isMine && (
          <button
            id={controlId(row, 'take')}
            type="button"
            class={alert.isTaken || alert.isSnoozed ? '' : 'first'}
            disabled={isSending}
            onClick={() => send('take')}
          >
            {isSending ? 'Sending …' : alert.isTaken ? 'Take it over' : 'I have it'}
            <span class="hidden">: {about}</span>
          </button>
        )}
        {together.length > 1 && (
          <button id={controlId(row, 'all')} type="button" disabled={isSending} onClick={takeAll}>
            I have all {together.length} of {truck.truck}
          </button>
        )}
        <Opens row={row} what="note" label="Note" draft={draft} toggle={toggle} about={about} />
        {maySnooze(alert) && !alert.isSnoozed && (
          <Opens row={row} what="snooze" label="Snooze" draft={draft} toggle={toggle} about={about} />
        )}
        {mayClose(truck, alert) && (
          <Opens row={row} what="close" label="Close" draft={draft} toggle={toggle} about={about} />
        )}
      </div>
      {draft !== undefined && <CaseForm truck={truck} alert={alert} row={row} draft={draft} />}
    </div>
  );
}

interface OpensProps {
  row: string;
  what: Draft['what'];
  label: string;
  draft: Draft | undefined;
  toggle: (what: Draft['what']) => void;
  about: string;
}

const Opens = ({ row, what, label, draft, toggle, about }: OpensProps) => (
  <button id={controlId(row, what)} type="button" aria-expanded={draft?.what === what} onClick={() => toggle(what)}>
    {label} …<span class="hidden">: {about}</span>
  </button>
);

/** What became of the last wish, where it was not simply sent. */
function Outcome({ alert }: { alert: string }) {
  const outcome = useDesk().outcomes.get(alert);
  const text =
    outcome?.kind === 'refused'
      ? `Refused: ${outcome.why}`
      : outcome?.kind === 'lost'
        ? 'Not sent: the office cannot be reached. Try again when the board is live.'
        : null;
  return (
    <p class="problem" role="alert">
      {text}
    </p>
  );
}
