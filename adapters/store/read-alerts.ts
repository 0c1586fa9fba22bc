import type { EventDraft, OpenDraft } from '../../daemon/alerts/event.js';
import { isoTime } from '../../daemon/alerts/iso-time.js';
import { parsed } from './parsed.js';
import { below, from, type Key, pagesOf } from './read-pages.js';
import type { ReadAlertRow, ReadEventRow } from './read-rows.js';
import { overlaps, PAGE_ROWS, type StoreReader, type Wanted } from './reader.js';

/** An event as it was decided; ids of alerts beside the ordinals. */
export interface DraftRow {
  seq: number;
  boot: number;
  t: number;
  alert: string;
  cause: string | null;
  config: string | null;
  version: string | null;
  draft: EventDraft;
}

type Params = Record<string, number | string | null>;

/** Conditions on the columns that a table has these in. The function is made known to SQLite once per question. */
function conditions(reader: StoreReader, wanted: Wanted, columns: { rule: string; subject: string; urgency: string }) {
  const { subject, rules, urgencies } = wanted;
  const tests: string[] = [];
  const params: Params = {};
  if (subject !== null) {
    reader.db.function('is_wanted', { deterministic: true }, (text) => (subject(String(text)) ? 1 : 0));
    tests.push(`is_wanted(${columns.subject})`);
  }
  const isOneOf = (column: string, name: string, values: readonly string[] | null): void => {
    if (values === null) return;
    tests.push(`${column} IN (SELECT value FROM json_each(@${name}))`);
    params[name] = JSON.stringify(values);
  };
  isOneOf(columns.rule, 'rules', rules);
  isOneOf(columns.urgency, 'urgencies', urgencies);
  return { sql: tests.map((test) => ` AND ${test}`).join(''), params };
}

const scanBySeq = <Row extends { seq: number }>(
  reader: StoreReader,
  what: string,
  page: (after: number, limit: number) => Row[],
) => ({
  page: (after: Key, limit: number) => page(below(after), limit),
  keyOf: ({ seq: major }: Row): Key => ({ major, minor: 0 }),
  ...{ start: from(-1), limit: PAGE_ROWS.large },
  lost: (low: number, high: number | null) => reader.lost(what, low, high),
});

/** Rows of the view alert_events, as `v`, by number. */
function* numbered<Row extends { seq: number }>(reader: StoreReader, select: string, wanted: Wanted): Generator<Row[]> {
  const { sql, params } = conditions(reader, wanted, {
    ...{ rule: 'v.rule', subject: 'v.subject', urgency: 'v.urgency' },
  });
  const { fromMs, toMs } = wanted;
  const span = { from: fromMs === null ? null : isoTime(fromMs), to: toMs === null ? null : isoTime(toMs) };
  // Both are written the same way, so that their order as text is that of time.
  const inSpan = ' AND (@from IS NULL OR v.at >= @from) AND (@to IS NULL OR v.at < @to)';
  const page = reader.db.prepare<[Params], Row>(
    `${select} WHERE v.seq > @major${inSpan}${sql} ORDER BY v.seq LIMIT @limit`,
  );
  const rows = (major: number, limit: number): Row[] => page.all({ ...params, ...span, major, limit });
  yield* pagesOf(scanBySeq(reader, 'events', rows));
}

/** Events by their number. */
export function eventsOf(reader: StoreReader, wanted: Wanted): Generator<ReadEventRow[]> {
  return numbered<ReadEventRow>(reader, 'SELECT v.* FROM alert_events v', wanted);
}

/** The same events as they were decided. One whose text is damaged is told and left out. */
export function* draftsOf(reader: StoreReader, wanted: Wanted): Generator<DraftRow[]> {
  const select = `SELECT v.seq, v.boot, v.t, v.alert, v.cause, v.config, v.version, e.draft
    FROM alert_events v JOIN events e ON e.seq = v.seq`;
  for (const rows of numbered<Omit<DraftRow, 'draft'> & { draft: string }>(reader, select, wanted)) {
    yield rows.flatMap((row) => {
      const draft = reader.attempt(() => parsed<EventDraft>(row.draft, reader.about.path));
      if (draft === null) reader.problem(`event ${row.seq} is no JSON and is left out`);
      return draft === null ? [] : [{ ...row, draft }];
    });
  }
}

type AlertColumns = Omit<ReadAlertRow, 'raised' | 'latest' | 'synced'> &
  Record<'first_boot' | 'first_t' | 'last_boot' | 'last_t', number | null>;

/** Alerts by the number of their first event: those that were open at some time of the span. */
export function* alertsOf(reader: StoreReader, wanted: Wanted): Generator<ReadAlertRow[]> {
  const { sql, params } = conditions(reader, wanted, {
    ...{ rule: 'a.rule', subject: 'a.subject', urgency: 'a.worst' },
  });
  const page = reader.db.prepare<[Params], AlertColumns>(`
    SELECT a.*, f.boot AS first_boot, f.t AS first_t, l.boot AS last_boot, l.t AS last_t
    FROM alerts a LEFT JOIN events f ON f.seq = a.seq LEFT JOIN events l ON l.seq = a.last_seq
    WHERE a.seq > @major${sql} ORDER BY a.seq LIMIT @limit`);
  const rows = (major: number, limit: number): AlertColumns[] => page.all({ ...params, major, limit });
  for (const found of pagesOf(scanBySeq(reader, 'alerts by their first event', rows))) {
    const alerts = found.map((row) => alertOf(reader, row));
    yield alerts.filter(({ raised, latest, state }) => {
      const isOver = state !== 'open' && latest !== null;
      return overlaps(wanted, raised === null ? null : Date.parse(raised), isOver ? Date.parse(latest) : null);
    });
  }
}

function alertOf(reader: StoreReader, row: AlertColumns): ReadAlertRow {
  const { id, rule, kind, subject, place, state, how, urgency, worst, cause, events, seq, last_seq } = row;
  const wall = (boot: number | null, t: number | null): string | null => {
    const ms = boot === null || t === null ? null : reader.wallMs(boot, t);
    return ms === null ? null : isoTime(ms);
  };
  const [raised, latest] = [wall(row.first_boot, row.first_t), wall(row.last_boot, row.last_t)];
  const synced = row.last_boot === null ? null : (reader.runOf(row.last_boot)?.synced ?? null);
  const about = { id, rule, kind, subject, place, state, how, urgency, worst };
  return { ...about, raised, latest, synced, cause, events, seq, last_seq };
}

/** The list of open alerts as last published, and when; null: there is none, or it cannot be read. */
export function openOf(reader: StoreReader): { boot: number; draft: OpenDraft } | null {
  const row = reader.attempt(() =>
    reader.db.prepare<[], { boot: number; draft: string }>('SELECT boot, draft FROM open').get(),
  );
  if (row === undefined) return null;
  const draft = row === null ? null : reader.attempt(() => parsed<OpenDraft>(row.draft, reader.about.path));
  if (row === null || draft === null) {
    reader.problem('the list of open alerts cannot be read');
    return null;
  }
  return { boot: row.boot, draft };
}
