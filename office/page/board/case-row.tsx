import type { TargetedKeyboardEvent } from 'preact';
import type { BoardAlert, BoardTruck } from '../../core/board-model.js';
import { doubts, forecastWords, isOutOfTouch, sinceWords } from '../words/alerts.js';
import { howBad } from '../words/units.js';
import { CaseHands } from './case-hands.js';
import { useDesk } from './desk.js';
import { UrgencyTag } from './glyph.js';
import { type Case, nameOf } from './groups.js';
import { controlId, rowIdOf } from './kept-focus.js';
import { markOf } from './news.js';
import { Trend } from './trend.js';
import { TruckFacts } from './truck-facts.js';

export type CaseSize = 'large' | 'small';

/** One alert: what the driver is to do, what and how bad, where the truck is, and who has it. */
export function CaseRow({ one, size }: { one: Case; size: CaseSize }) {
  const desk = useDesk();
  const { truck, alert } = one;
  const row = rowIdOf(truck, alert.id);
  const isNew = desk.unread.has(markOf(one));
  const classes = ['case', size, alert.urgency, isNew && 'new', alert.isUntaken && 'untaken', alert.unsure && 'unsure'];
  const see = (): void => {
    if (isNew) desk.see([markOf(one)]);
  };
  return (
    <li>
      <article
        class={classes.filter(Boolean).join(' ')}
        id={row}
        aria-labelledby={controlId(row, 'title')}
        onKeyDown={(event) => act(event, row)}
        onPointerDown={see}
        onFocusIn={see}
      >
        <div class="case-urgency">
          <UrgencyTag urgency={alert.urgency} isLong={size === 'large'} />
          {isNew && <span class="badge">New</span>}
          {alert.isUntaken && <span class="badge loud">Untaken</span>}
        </div>
        <What truck={truck} alert={alert} row={row} />
        <Advice alert={alert} />
        {size === 'large' && <Trend alert={alert} />}
        <TruckFacts truck={truck} isShort={size === 'small'} />
        <CaseHands truck={truck} alert={alert} row={row} />
      </article>
    </li>
  );
}

function What({ truck, alert, row }: { truck: BoardTruck; alert: BoardAlert; row: string }) {
  const { nowMs, units } = useDesk();
  return (
    <div class="case-what">
      <h3 id={controlId(row, 'title')}>
        <a id={controlId(row, 'name')} href={`#/trucks/${nameOf(truck)}`} class="truck-name">
          {truck.truck}
        </a>
        {truck.trailer !== null && <span class="trailer"> with {truck.trailer}</span>}
        <span class="place">
          {alert.place}: <b>{alert.what}</b>
        </span>
      </h3>
      <p class="how">{[howBad(alert.measured, units), ...doubts(alert)].filter(Boolean).join('; ')}</p>
      {alert.forecast !== null && <p class="forecast">Forecast: {forecastWords(alert.forecast, nowMs)}</p>}
      <p class="since">
        {sinceWords(alert, nowMs)}
        {isOutOfTouch(truck.reach) && <b> · this is old, see beside</b>}
      </p>
      <Explained truck={truck} alert={alert} />
      {alert.note !== null && alert.note !== '' && <p class="note">Note: {alert.note}</p>}
    </div>
  );
}

/** What comes of it: told here and nowhere else on the board. */
function Explained({ truck, alert }: { truck: BoardTruck; alert: BoardAlert }) {
  if (alert.explains.length === 0) return null;
  const known = truck.alerts
    .filter(({ id }) => alert.explains.includes(id))
    .map(({ place, what }) => `${place}, ${what}`);
  return <p class="since">With it: {known.length > 0 ? known.join('; ') : `${alert.explains.length} more`}</p>;
}

/** What the driver is told stands there; what the shop is told, and who says so, on demand. */
function Advice({ alert }: { alert: BoardAlert }) {
  if (alert.advice === null) return null;
  const [driver, shop] = alert.advice.split(' Shop: ');
  return (
    <details class="advice" open={alert.urgency === 'pull-over' && !alert.isTaken}>
      <summary>What to tell the driver</summary>
      <p>{driver}</p>
      {shop !== undefined && <p>Shop: {shop}</p>}
      {alert.basis !== null && <p class="basis">By: {alert.basis}</p>}
    </details>
  );
}

const CONTROLS: Record<string, string> = { t: 'take', n: 'note', s: 'snooze', o: 'name' };

/** Keys work inside of a row only, so that nobody takes an alert by a stray letter. */
function act(event: TargetedKeyboardEvent<HTMLElement>, row: string): void {
  const target = event.target as HTMLElement;
  if (event.ctrlKey || event.altKey || event.metaKey || target.matches('input,textarea,select')) return;
  const key = event.key.toLowerCase();
  const control = CONTROLS[key];
  if (control !== undefined) document.getElementById(controlId(row, control))?.click();
  else if (key === 'j' || key === 'k') step(event.currentTarget, key === 'j' ? 1 : -1);
  else return;
  event.preventDefault();
}

function step(from: HTMLElement, by: number): void {
  const rows = [...document.querySelectorAll<HTMLElement>('article.case')];
  const next = rows[rows.indexOf(from) + by];
  next?.querySelector<HTMLElement>('a.truck-name')?.focus();
  next?.scrollIntoView({ block: 'nearest' });
}
