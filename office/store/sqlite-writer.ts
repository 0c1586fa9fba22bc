import type BetterSqlite from 'better-sqlite3';
import {
  type Folded,
  type Incoming,
  type Notice,
  newTruckState,
  type TruckKey,
  type TruckState,
} from '../core/model.js';
import type { Batch, Decide, Fold } from './contract.js';
import { eventRow, gapRow, keyText, parsed, readingRow, tripRow } from './rows.js';

const EVENT = [
  'fleet',
  'truck',
  'store',
  'seq',
  'received_ms',
  'at',
  'alert',
  'rule',
  'subject',
  'change',
  'urgency',
  'body',
] as const;
const READING = ['fleet', 'truck', 'at', 'received_ms', 'body'] as const;
const TRIP = ['fleet', 'truck', 'store', 'boot', 'trip', 'kind', 'received_ms', 'start', 'body'] as const;
const GAP = ['fleet', 'truck', 'store', 'from_seq', 'to_seq', 'what', 'content', 'received_ms', 'body'] as const;

type Row = Record<string, unknown>;
type Table = 'events' | 'readings' | 'trips' | 'gaps';

/** Messages in, rows of trucks out. Everything is one transaction, so that many trucks cost one wait for the disk. */
export class SqliteWriter {
  readonly #place: string;
  readonly #add: Record<Table, BetterSqlite.Statement<[Row]>>;
  readonly #state: BetterSqlite.Statement<[string, string], string>;
  readonly #put: BetterSqlite.Statement<[Row]>;
  readonly #addNotice: BetterSqlite.Statement<[Row]>;
  readonly receive: (batches: readonly Batch[], fold: Fold) => TruckState[];
  readonly change: (key: TruckKey, decide: Decide) => TruckState | null;

  constructor(db: BetterSqlite.Database) {
    this.#place = db.name;
    const adding = (table: string, columns: readonly string[]): BetterSqlite.Statement<[Row]> =>
      db.prepare(
        `INSERT INTO ${table} (${columns}) VALUES (${columns.map((name) => `@${name}`)}) ON CONFLICT DO NOTHING`,
      );
    this.#add = {
      events: adding('events', EVENT),
      readings: adding('readings', READING),
      trips: adding('trips', TRIP),
      gaps: adding('gaps', GAP),
    };
    this.#state = db
      .prepare<[string, string], string>('SELECT state FROM trucks WHERE fleet = ? AND truck = ?')
      .pluck() as BetterSqlite.Statement<[string, string], string>;
    this.#put = db.prepare(`
      INSERT INTO trucks (fleet, truck, revision, heard_ms, state) VALUES (@fleet, @truck, @revision, @heard_ms, @state)
      ON CONFLICT DO UPDATE SET revision = @revision, heard_ms = @heard_ms, state = @state`);
    this.#addNotice = db.prepare(`
      INSERT INTO notices (fleet, truck, channel, why, alert, due_ms, body)
      VALUES (@fleet, @truck, @channel, @why, @alert, @due_ms, @body)`);
    this.receive = db.transaction((batches: readonly Batch[], fold: Fold) =>
      batches.map((batch) => this.#receive(batch, fold)),
    ).immediate;
    this.change = db.transaction((key: TruckKey, decide: Decide) => this.#change(key, decide)).immediate;
  }

  #receive({ key, messages }: Batch, fold: Fold): TruckState {
    const fresh = messages.filter((incoming) => this.#isFresh(key, incoming));
    const state = this.#read(key);
    const folded = fold(key, state ?? newTruckState(), fresh);
    if (folded.state !== state || folded.notices.length > 0) this.#write(key, folded);
    return folded.state;
  }

  #change(key: TruckKey, decide: Decide): TruckState | null {
    const state = this.#read(key);
    const folded = state === null ? null : decide(key, state);
    if (folded === null) return null;
    this.#write(key, folded);
    return folded.state;
  }

  /** Stores what is history; false where it was stored before. */
  #isFresh(key: TruckKey, incoming: Incoming): boolean {
    switch (incoming.kind) {
      case 'event':
        return this.#isNew('events', eventRow(key, incoming));
      case 'trip':
      case 'start-check':
        return this.#isNew('trips', tripRow(key, incoming));
      case 'gap':
        return this.#isNew('gaps', gapRow(key, incoming));
      case 'reading':
        this.#isNew('readings', readingRow(key, incoming));
        return true;
      default:
        return true;
    }
  }

  #isNew(table: Table, row: Row & { body: unknown }): boolean {
    return this.#add[table].run({ ...row, body: JSON.stringify(row.body) }).changes === 1;
  }

  #read(key: TruckKey): TruckState | null {
    const text = this.#state.get(key.fleet, key.truck);
    return text === undefined ? null : parsed<TruckState>(text, this.#place, `the row of ${keyText(key)}`);
  }

  #write({ fleet, truck }: TruckKey, { state, notices }: Folded): void {
    const { revision, heardMs } = state;
    this.#put.run({ fleet, truck, revision, heard_ms: heardMs, state: JSON.stringify(state) });
    for (const notice of notices) this.#addNotice.run(noticeRow(notice));
  }
}

function noticeRow(notice: Notice): Row {
  const { fleet, truck, channel, why, ms } = notice;
  return { fleet, truck, channel, why, alert: notice.alert.id, due_ms: ms, body: JSON.stringify(notice) };
}
