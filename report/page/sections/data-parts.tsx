import { RULE_WORDS } from '../../../daemon/alerts/words.js';
import type { ReportData } from '../../data.js';
import { type Column, Table } from '../parts/table.js';
import { Glyph, URGENCY_WORDS } from '../parts/urgency.js';
import { useReader } from '../reader.js';
import { span } from '../words/time.js';

type Gap = ReportData['gaps'][number];
type Muted = ReportData['muted'][number];
type NotJudged = ReportData['notJudged'][number];

export function GapsPart() {
  const { data, clock } = useReader();
  const columns: Column<Gap>[] = [
    { head: 'From', isHead: true, cell: ({ fromS }) => clock.moment(fromS) },
    { head: 'To', cell: ({ toS }) => clock.moment(toS) },
    { head: 'For', isNumber: true, cell: ({ fromS, toS }) => span(toS - fromS) },
    { head: 'What', isText: true, cell: ({ what }) => what },
  ];
  return (
    <section id="gaps" aria-labelledby="gaps-title">
      <h2 id="gaps-title">Gaps</h2>
      {data.gaps.length === 0 ? (
        <p>None: something was heard all the time that the truck was awake.</p>
      ) : (
        <Table name="Gaps" columns={columns} rows={data.gaps} />
      )}
    </section>
  );
}

export function MutedPart() {
  const { data, clock } = useReader();
  const columns: Column<Muted>[] = [
    { head: 'From', isHead: true, cell: ({ fromS }) => clock.moment(fromS) },
    { head: 'To', cell: ({ toS }) => clock.moment(toS) },
    { head: 'Where', isText: true, cell: ({ place }) => place },
    { head: 'What held', isText: true, cell: ({ rule }) => RULE_WORDS[rule] },
    {
      head: 'Level',
      cell: ({ urgency }) => (
        <span class="level">
          <Glyph urgency={urgency} /> {URGENCY_WORDS[urgency]}
        </span>
      ),
    },
    { head: 'Why it was not told', isText: true, cell: ({ why }) => why },
  ];
  return (
    <section id="muted" aria-labelledby="muted-title">
      <h2 id="muted-title">Muted</h2>
      {data.muted.length === 0 ? (
        <p>
          {data.about.frames === null
            ? 'A database keeps only what was held back at its end: nothing was.'
            : 'Nothing was held back.'}
        </p>
      ) : (
        <Table name="Muted" columns={columns} rows={data.muted} />
      )}
    </section>
  );
}

export function NotJudgedPart() {
  const { data, clock } = useReader();
  if (data.notJudged.length === 0) return null;
  const until = ({ untilMs }: NotJudged): string => {
    const s = (untilMs - data.fromMs) / 1000;
    return `${clock.day(s)}, ${clock.hm(s)}`;
  };
  const columns: Column<NotJudged>[] = [
    { head: 'Where', isHead: true, cell: ({ place }) => place },
    { head: 'Called bad by', cell: ({ who }) => who },
    { head: 'Until', cell: until },
  ];
  return (
    <section id="not-judged" aria-labelledby="not-judged-title">
      <h2 id="not-judged-title">Not judged</h2>
      <p>Somebody has called these sensors bad: no alert of theirs is raised.</p>
      <Table name="Not judged" columns={columns} rows={data.notJudged} />
    </section>
  );
}

export function AboutData() {
  const { data } = useReader();
  const { notes, about } = data;
  return (
    <section id="data" aria-labelledby="data-title">
      <h2 id="data-title">About the data</h2>
      <ul>
        {!about.fine && (
          <li>Only minutes were kept: delays, steps and short applications within a minute are not seen.</li>
        )}
        {!about.synced && <li>The clock was not known to be right: times of day may be off, spans are not.</li>}
        {notes.map((note) => (
          <li key={note}>{note}</li>
        ))}
        {about.fine && about.synced && notes.length === 0 && <li>Nothing was found wanting.</li>}
      </ul>
    </section>
  );
}
