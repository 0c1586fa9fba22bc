import type { BoardAlert, BoardTruck } from '../../core/board-model.js';
import { moment, span } from '../words/time.js';
import { type Draft, useDesk } from './desk.js';
import { controlId } from './kept-focus.js';

/** Half a day at most, so that each shift sees what is open; the truck refuses more. */
const MINUTES = [15, 30, 60, 120, 240, 480, 720];
const MOST_NOTE = 300;

const SAYS: Record<Draft['what'], { does: 'take' | 'snooze' | 'close'; label: string; hint: string }> = {
  note: {
    does: 'take',
    label: 'Take it with this note',
    hint: 'A note goes with taking it: who writes it has it then.',
  },
  snooze: {
    does: 'snooze',
    label: 'Snooze',
    hint: 'It comes back at its end, at the next trip, and at once if it gets worse.',
  },
  close: {
    does: 'close',
    label: 'Close as repaired',
    hint: 'Closing says that somebody saw to it. If it is still so, the truck raises it anew.',
  },
};

interface FormProps {
  truck: BoardTruck;
  alert: BoardAlert;
  row: string;
  draft: Draft;
}

/** Note, snooze and close, opened below the buttons. */
export function CaseForm({ truck, alert, row, draft }: FormProps) {
  const desk = useDesk();
  const { does, label, hint } = SAYS[draft.what];
  const set = (part: Partial<Draft>): void => desk.draft(alert.id, { ...draft, ...part });
  const close = (): void => {
    desk.draft(alert.id, null);
    document.getElementById(controlId(row, draft.what))?.focus();
  };
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    const note = draft.note.trim() || null;
    void desk.wish(truck, { alert: alert.id, do: does, note, minutes: does === 'snooze' ? draft.minutes : null });
    close();
  };
  const field = (name: string): string => controlId(row, `form-${name}`);
  return (
    <form class="case-form" onSubmit={submit} onKeyDown={(event) => event.key === 'Escape' && close()}>
      {does === 'snooze' && (
        <>
          <label for={field('minutes')}>For</label>
          <select
            id={field('minutes')}
            value={draft.minutes}
            onChange={(event) => set({ minutes: Number(event.currentTarget.value) })}
          >
            {MINUTES.map((minutes) => (
              <option key={minutes} value={minutes}>
                {span(minutes * 60_000)}, until {moment(desk.nowMs + minutes * 60_000, desk.nowMs)}
              </option>
            ))}
          </select>
        </>
      )}
      <label for={field('note')}>Note{draft.what === 'note' ? '' : ', if you like'}</label>
      <textarea
        id={field('note')}
        rows={2}
        maxLength={MOST_NOTE}
        required={draft.what === 'note'}
        value={draft.note}
        onInput={(event) => set({ note: event.currentTarget.value })}
        ref={focusOnce}
      />
      <p class="hint">{hint}</p>
      <div class="buttons">
        <button type="submit" class="first">
          {label}
        </button>
        <button type="button" onClick={close}>
          Cancel
        </button>
      </div>
    </form>
  );
}

const focused = new WeakSet<HTMLElement>();

/** When the form opens. */
function focusOnce(element: HTMLElement | null): void {
  if (element === null || focused.has(element)) return;
  focused.add(element);
  element.focus();
}
