import type { ComponentChildren } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import type { ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import { useDesk } from '../board/desk.js';
import { UrgencyTag } from '../board/glyph.js';
import { type Case, type Flood, floodWords, type Groups, nameOf } from '../board/groups.js';
import { OutOfTouch, Sick } from '../board/reach-section.js';
import { events as askEvents, csvOf } from '../live/http.js';
import { doubts, forecastWords, holder, motion, truckName } from '../words/alerts.js';
import { type PastAlert, pastAlerts } from '../words/past.js';
import { changeWords, ruleWords } from '../words/rules.js';
import { clock, day, moment } from '../words/time.js';
import { howBad } from '../words/units.js';
import { byPerson } from './by-person.js';

const SHIFT_MS = 12 * 3_600_000;
const MOST_EVENTS = 1000;
const MINUTE_MS = 60_000;
const minuteOf = (ms: number): number => Math.ceil(ms / MINUTE_MS) * MINUTE_MS;

/** What the next shift must know, on paper as well: who has what, what nobody has, what ended. */
export function HandOver({ groups }: { groups: Groups }) {
  const { me, nowMs } = useDesk();
  const { past, problem } = useShift(nowMs);
  const ended = past.filter(
    (one) => one.ended !== null && one.ended.ms >= nowMs - SHIFT_MS && one.kind === 'equipment',
  );
  return (
    <main class="hand-over">
      <div class="hand-over-head">
        <h1>
          Hand-over, {day(nowMs)}, {clock(nowMs)}
        </h1>
        <button type="button" class="first no-print" onClick={() => window.print()}>
          Print
        </button>
      </div>
      <p>
        Written for {me.name}. It covers the last 12 h, from {moment(nowMs - SHIFT_MS, nowMs)}.
      </p>
      <Part title="Nobody has these" isEmpty={groups.undecided.length + groups.floods.length === 0}>
        <Lines cases={groups.undecided} />
        <Floods floods={groups.floods} />
      </Part>
      <Part title="Who has what" isEmpty={groups.taken.length === 0}>
        {byPerson(groups.taken).map(({ who, cases }) => (
          <section key={who} aria-label={who}>
            <h3>{who}</h3>
            <Lines cases={cases} />
          </section>
        ))}
      </Part>
      <Part title="Snoozed" isEmpty={groups.snoozed.length === 0}>
        <Lines cases={groups.snoozed} />
      </Part>
      <Part
        title="Trucks out of touch, units and sensors"
        isEmpty={groups.outOfTouch.length + groups.sick.length + groups.system.length === 0}
      >
        <OutOfTouch trucks={groups.outOfTouch} />
        <Sick trucks={groups.sick} />
        <Lines cases={groups.system} />
      </Part>
      <Part title="Ended in the last 12 h" isEmpty={ended.length === 0 && problem === null}>
        {problem !== null && <p class="problem">{problem}</p>}
        <ul class="lines">
          {ended.map((one) => (
            <EndedLine key={`${one.fleet} ${one.id}`} past={one} />
          ))}
        </ul>
      </Part>
      <p class="no-print csv">
        <a href={csvOf({ from: String(minuteOf(nowMs) - SHIFT_MS), to: String(minuteOf(nowMs)) })}>
          The last 12 h as CSV
        </a>
      </p>
      <section class="word" aria-labelledby="word-title">
        <h2 id="word-title">A word to the next shift</h2>
        <div class="ruled" />
      </section>
    </main>
  );
}

function useShift(nowMs: number): { past: PastAlert[]; problem: string | null } {
  const [found, setFound] = useState<{ past: PastAlert[]; problem: string | null }>({ past: [], problem: null });
  const minute = Math.floor(nowMs / 60_000);
  useEffect(() => {
    const toMs = (minute + 1) * 60_000;
    const take = (events: ReceivedEvent[] | null): void =>
      setFound({
        past: pastAlerts(events ?? []),
        problem: events?.length === MOST_EVENTS ? `More than ${MOST_EVENTS} changes: the oldest are not here.` : null,
      });
    askEvents({ fromMs: toMs - SHIFT_MS, toMs, limit: MOST_EVENTS }).then(take, () =>
      setFound((before) => ({ ...before, problem: 'What has ended cannot be had from the office now.' })),
    );
  }, [minute]);
  return found;
}

const Part = ({ title, isEmpty, children }: { title: string; isEmpty: boolean; children: ComponentChildren }) => {
  const id = `part-${title.toLowerCase().replace(/\W+/g, '-')}`;
  return (
    <section aria-labelledby={id}>
      <h2 id={id}>{title}</h2>
      {isEmpty ? <p class="nothing">None.</p> : children}
    </section>
  );
};

function Lines({ cases }: { cases: Case[] }) {
  const { nowMs, units } = useDesk();
  return (
    <ul class="lines">
      {cases.map(({ truck, alert }) => (
        <li key={`${nameOf(truck)} ${alert.id}`}>
          <UrgencyTag urgency={alert.urgency} />
          <span>
            <a href={`#/trucks/${nameOf(truck)}`} class="truck-name">
              {truckName(truck)}
            </a>
            , {alert.place}: <b>{alert.what}</b>;{' '}
            {[howBad(alert.measured, units), ...doubts(alert), motion(truck, units)].filter(Boolean).join('; ')}.
            {alert.forecast !== null && ` Forecast: ${forecastWords(alert.forecast, nowMs)}.`}{' '}
            {sentence(holder(alert, nowMs))}
            {alert.note !== null && alert.note !== '' && ` Note: ${alert.note}`}
          </span>
        </li>
      ))}
    </ul>
  );
}

/** One line for each truck, as on the board. */
function Floods({ floods }: { floods: readonly Flood[] }) {
  const { nowMs } = useDesk();
  return (
    <ul class="lines">
      {floods.map(({ truck, alerts }) => (
        <li key={nameOf(truck)}>
          <UrgencyTag urgency="plan" />
          <span>
            <a href={`#/trucks/${nameOf(truck)}`} class="truck-name">
              {truckName(truck)}
            </a>
            , <b>{alerts.length} things to plan</b>: {floodWords(alerts)}. {sentence(holder(alerts[0]!, nowMs))}
          </span>
        </li>
      ))}
    </ul>
  );
}

/** Names of people stay as they are written. */
const sentence = (text: string): string => `${text.replace(/^nobody/, 'Nobody')}.`;

function EndedLine({ past }: { past: PastAlert }) {
  const { nowMs } = useDesk();
  return (
    <li>
      <UrgencyTag urgency={past.worst} />
      <span>
        <a href={`#/trucks/${past.fleet}/${past.truck}`} class="truck-name">
          {truckName(past)}
        </a>
        , {past.place}: <b>{ruleWords(past.rule)}</b>; {changeWords(past.ended!.event)} at{' '}
        {moment(past.ended!.ms, nowMs)}
        {past.who === null ? ', nobody had taken it' : `, ${past.who} had it`}.
        {past.notes.map(({ who, note }) => ` ${who}: “${note}”`)}
      </span>
    </li>
  );
}
