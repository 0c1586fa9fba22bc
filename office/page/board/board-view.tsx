import type { ComponentChildren } from 'preact';
import { useRef } from 'preact/hooks';
import type { Urgency } from '../../../config/resolved.js';
import { URGENCY_WORDS } from '../words/alerts.js';
import { CaseRow, type CaseSize } from './case-row.js';
import { useDesk } from './desk.js';
import { FloodRow } from './flood-row.js';
import { Glyph } from './glyph.js';
import { type Case, type Groups, nameOf, openCounts } from './groups.js';
import { useKeptFocus } from './kept-focus.js';
import { OutOfTouch, ReachCounts, Sick } from './reach-section.js';
import { type BoardState, LONG } from './state.js';

/** What needs a decision, then what is in hands, then trucks that cannot be reached. */
export function BoardView({ board, groups }: { board: BoardState; groups: Groups }) {
  const root = useRef<HTMLElement | null>(null);
  useKeptFocus(root);
  const { undecided, floods, taken, snoozed, system, outOfTouch, sick } = groups;
  const hasNothing = undecided.length + floods.length === 0;
  return (
    <main ref={root} class={board.trucks.size > LONG ? 'board long' : 'board'}>
      <h1 class="hidden">Board</h1>
      <Notes notes={board.notes} />
      <Summary groups={groups} board={board} />
      <Section id="undecided" title="Needs a decision" count={undecided.length + floods.length} isAlways>
        {hasNothing ? <p class="nothing">Nothing waits for a decision.</p> : <Cases cases={undecided} />}
        {floods.length > 0 && (
          <ol class="cases">
            {floods.map((flood) => (
              <FloodRow key={nameOf(flood.truck)} flood={flood} />
            ))}
          </ol>
        )}
      </Section>
      <Section id="taken" title="Somebody has it" count={taken.length}>
        <Cases cases={taken} size="small" />
      </Section>
      <Section id="snoozed" title="Snoozed" count={snoozed.length}>
        <Cases cases={snoozed} size="small" />
      </Section>
      <Section id="touch" title="Trucks that are out of touch" count={outOfTouch.length}>
        <OutOfTouch trucks={outOfTouch} />
      </Section>
      <Section id="units" title="Units and sensors" count={system.length + sick.length}>
        {sick.length > 0 && <Sick trucks={sick} />}
        <Cases cases={system} size="small" />
      </Section>
    </main>
  );
}

const sizeOf = (one: Case): CaseSize => (one.alert.urgency === 'plan' ? 'small' : 'large');

const Cases = ({ cases, size }: { cases: Case[]; size?: CaseSize }) =>
  cases.length === 0 ? null : (
    <ol class="cases">
      {cases.map((one) => (
        <CaseRow key={`${nameOf(one.truck)} ${one.alert.id}`} one={one} size={size ?? sizeOf(one)} />
      ))}
    </ol>
  );

interface SectionProps {
  id: string;
  title: string;
  count: number;
  /** Also when there is nothing in it. */
  isAlways?: boolean;
  children: ComponentChildren;
}

const Section = ({ id, title, count, isAlways = false, children }: SectionProps) =>
  count === 0 && !isAlways ? null : (
    <section id={id} aria-labelledby={`${id}-title`} tabIndex={-1}>
      <h2 id={`${id}-title`}>
        {title} <span class="count">{count}</span>
      </h2>
      {children}
    </section>
  );

const Notes = ({ notes }: { notes: readonly string[] }) =>
  notes.length === 0 ? null : (
    <ul class="notes" aria-label="About the office's own lines">
      {notes.map((note) => (
        <li key={note}>{note}</li>
      ))}
    </ul>
  );

/** To the parts further down, past what may be a long list. */
function Parts({ groups }: { groups: Groups }) {
  const parts: [string, string, number][] = [
    ['taken', 'Somebody has it', groups.taken.length],
    ['snoozed', 'Snoozed', groups.snoozed.length],
    ['touch', 'Out of touch', groups.outOfTouch.length],
    ['units', 'Units and sensors', groups.system.length + groups.sick.length],
  ];
  return (
    <nav class="parts" aria-label="Parts of the board">
      {parts
        .filter(([, , count]) => count > 0)
        .map(([id, title, count]) => (
          <a key={id} href={`#${id}`}>
            {title} {count}
          </a>
        ))}
    </nav>
  );
}

const URGENCIES: Urgency[] = ['pull-over', 'next-stop', 'plan'];

/** How many wait, readable across the room. */
function Summary({ groups, board }: { groups: Groups; board: BoardState }) {
  const { unread, see } = useDesk();
  const counts = openCounts(groups);
  return (
    <div class="summary">
      <ul class="waiting-counts" aria-label="Waiting for a decision">
        {URGENCIES.map((urgency) => (
          <li key={urgency} class={`${urgency} ${counts[urgency] === 0 ? 'none' : ''}`}>
            <Glyph urgency={urgency} />
            <b>{counts[urgency]}</b> {URGENCY_WORDS[urgency].name.toLowerCase()}
          </li>
        ))}
      </ul>
      {unread.size > 0 && (
        <button type="button" onClick={() => see([...unread])}>
          I have seen {unread.size === 1 ? 'the new one' : `all ${unread.size} new ones`}
        </button>
      )}
      <ReachCounts counts={board.counts} />
      <Parts groups={groups} />
    </div>
  );
}
