import { URGENCIES } from '../../../config/resolved.js';
import type { AlertStory, Judged } from '../../data.js';
import { type Column, Table } from '../parts/table.js';
import { Glyph, URGENCY_WORDS } from '../parts/urgency.js';

const isPlainLevel = (name: string): boolean => (URGENCIES as readonly string[]).includes(name);

const COLUMNS: Column<Judged>[] = [
  {
    head: 'Level',
    isHead: true,
    cell: ({ name, urgency }) => (
      <span class="level">
        <Glyph urgency={urgency} /> {URGENCY_WORDS[urgency]}
        {!isPlainLevel(name) && <span class="quiet"> ({name.replaceAll('-', ' ')})</span>}
      </span>
    ),
  },
  { head: 'Held', cell: ({ held }) => (held ? <b>yes</b> : 'no') },
  { head: 'Raised', isText: true, cell: ({ raise }) => raise },
  { head: 'Cleared', isText: true, cell: ({ clear }) => clear },
  { head: 'Source of the limit', isText: true, cell: ({ basis }) => basis },
];

/** The limits that judged it, and who says so. */
export function JudgedTable({ alert, Part }: { alert: AlertStory; Part: 'h4' }) {
  if (alert.judged.length === 0) return null;
  return (
    <section class="judged">
      <Part>What judged it</Part>
      <p class="quiet">
        Rule <code>{alert.rule}</code>, subject <code>{alert.subject}</code>
      </p>
      <Table name={`What judged ${alert.place}: ${alert.what}`} columns={COLUMNS} rows={alert.judged} stacks />
    </section>
  );
}
