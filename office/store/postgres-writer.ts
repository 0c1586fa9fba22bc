import type { WallMs } from '../../daemon/time.js';
import { type Folded, type Incoming, newTruckState, type TruckKey, type TruckState } from '../core/model.js';
import type { Batch, Decide, Fold } from './contract.js';
import type { PostgresLink, Run, Statement } from './postgres-link.js';
import type { Months } from './postgres-months.js';
import {
  addition,
  arraysOf,
  type Columns,
  given,
  idOf,
  rowOf,
  TABLE_NAMES,
  type TableName,
} from './postgres-tables.js';
import { keyText } from './rows.js';

/** Trucks of one transaction: enough that the disk is waited for rarely, few enough that other instances wait for no row for long. */
const MOST_TRUCKS = 64;
/** While one waits for the disk or the network, the next goes on. */
const GROUPS_AT_ONCE = 3;
/** Notifications are told to other instances; at most 8,000 bytes each, and 64 trucks are 5,500. */
export const CHANNEL = 'axlepost_office';

const KNOW: Statement = {
  name: 'know',
  text: `INSERT INTO trucks (fleet, truck, revision) SELECT fleet, truck, 0 FROM unnest($1::text[], $2::text[]) AS g (fleet, truck)
    ORDER BY fleet COLLATE "C", truck COLLATE "C" ON CONFLICT DO NOTHING`,
};
/** Whoever locks several rows does it in the order of their names: no two wait for each other. */
const LOCK: Statement = {
  name: 'lock',
  text: `SELECT fleet, truck, state FROM trucks WHERE (fleet, truck) IN (SELECT * FROM unnest($1::text[], $2::text[]))
    ORDER BY fleet, truck FOR UPDATE`,
};
const ROW: Columns = { fleet: 'text', truck: 'text', revision: 'bigint', heard_ms: 'bigint', state: 'json' };
const PUT: Statement = {
  name: 'put',
  text: `UPDATE trucks t SET revision = g.revision, heard_ms = g.heard_ms, state = g.state FROM ${given(ROW)}
    WHERE t.fleet = g.fleet AND t.truck = g.truck`,
};
const NOTICE: Columns = {
  ...{ fleet: 'text', truck: 'text', channel: 'text', why: 'text' },
  ...{ alert: 'text', due_ms: 'bigint', body: 'json' },
};
const NOTICE_NAMES = Object.keys(NOTICE);
const ADD_NOTICES: Statement = {
  name: 'add-notices',
  text: `INSERT INTO notices (${NOTICE_NAMES}) SELECT ${NOTICE_NAMES} FROM ${given(NOTICE)} ORDER BY n`,
};
const NOTIFY: Statement = { name: 'notify', text: `SELECT pg_notify('${CHANNEL}', $1)` };

/** A row, and of which message. */
interface Given {
  row: Record<string, unknown>;
  batch: number;
  at: number;
}

/** Somebody has deleted rows of trucks. */
class RowIsGone extends Error {}

interface Changed {
  key: TruckKey;
  folded: Folded;
}

/** Messages in, rows of trucks out. */
export class PostgresWriter {
  readonly #link: PostgresLink;
  readonly #months: Months;
  readonly #instance: string;
  readonly #wrote: (key: TruckKey, revision: number) => void;
  /** Trucks whose row is there, maybe without a state: rows are never deleted. */
  readonly #known = new Set<string>();

  /** instance: whose notifications these are. wrote: after the commit. */
  constructor(link: PostgresLink, months: Months, instance: string, wrote: (key: TruckKey, revision: number) => void) {
    this.#link = link;
    this.#months = months;
    this.#instance = instance;
    this.#wrote = wrote;
  }

  async receive(batches: readonly Batch[], fold: Fold): Promise<TruckState[]> {
    const groups = grouped(batches);
    // A truck that is there twice is in two groups, one after the other.
    const atOnce = new Set(batches.map(({ key }) => keyText(key))).size === batches.length ? GROUPS_AT_ONCE : 1;
    const states: TruckState[] = [];
    for (let from = 0; from < groups.length; from += atOnce) {
      const calls = groups.slice(from, from + atOnce).map((group) => this.#receiveGroup(group, fold));
      // Nothing of it goes on when the caller hears that it failed.
      await Promise.allSettled(calls);
      for (const call of calls) states.push(...(await call));
    }
    return states;
  }

  async change(key: TruckKey, decide: Decide): Promise<TruckState | null> {
    const changed = await this.#link.transact(async (run) => {
      const state = (await this.#lock(run, [key])).get(keyText(key)) ?? null;
      const folded = state === null ? null : decide(key, state);
      if (folded !== null) await this.#write(run, [{ key, folded }]);
      return folded;
    });
    if (changed === null) return null;
    this.#wrote(key, changed.state.revision);
    return changed.state;
  }

  async #receiveGroup(group: readonly Batch[], fold: Fold): Promise<TruckState[]> {
    const times = group.flatMap(({ messages }) => messages.filter(isCut).map(({ receivedMs }) => receivedMs));
    for (let isSecond = false; ; isSecond = true) {
      await this.#know(group.map(({ key }) => key));
      await this.#months.ensure(new Set<WallMs>(times));
      try {
        return await this.#transact(group, fold);
      } catch (error) {
        if (isSecond || !(error instanceof RowIsGone || this.#months.isMissing(error))) throw error;
        this.#known.clear();
      }
    }
  }

  async #transact(group: readonly Batch[], fold: Fold): Promise<TruckState[]> {
    const all = await this.#link.transact(async (run) => {
      const keys = group.map(({ key }) => key);
      const before = await this.#lock(run, keys);
      if (before.size < keys.length) throw new RowIsGone();
      const fresh = await this.#add(run, group);
      const results = group.map(({ key }, batch) => {
        const state = before.get(keyText(key)) ?? null;
        const folded = fold(key, state ?? newTruckState(), fresh[batch]!);
        return { key, folded, isChanged: folded.state !== state || folded.notices.length > 0 };
      });
      const changed = results.filter(({ isChanged }) => isChanged);
      if (changed.length > 0) await this.#write(run, changed);
      return { results, changed };
    });
    for (const { key, folded } of all.changed) this.#wrote(key, folded.state.revision);
    return all.results.map(({ folded }) => folded.state);
  }

  async #know(keys: readonly TruckKey[]): Promise<void> {
    const unknown = keys.filter((key) => !this.#known.has(keyText(key)));
    if (unknown.length === 0) return;
    await this.#link.run(KNOW, namesOf(unknown));
    for (const key of unknown) this.#known.add(keyText(key));
  }

  async #lock(run: Run, keys: readonly TruckKey[]): Promise<Map<string, TruckState | null>> {
    const rows = await run<TruckKey & { state: TruckState | null }>(LOCK, namesOf(keys));
    return new Map(rows.map((row) => [keyText(row), row.state]));
  }

  /** Stores what is history. Gives of each batch the messages that were not stored before. */
  async #add(run: Run, group: readonly Batch[]): Promise<Incoming[][]> {
    const stale = group.map(() => new Set<number>());
    const coming: Record<TableName, Map<string, Given>> = {
      ...{ events: new Map(), readings: new Map(), trips: new Map(), gaps: new Map() },
    };
    group.forEach(({ key, messages }, batch) => {
      messages.forEach((incoming, at) => {
        const found = rowOf(key, incoming);
        if (found === null) return;
        const id = idOf(found.table, found.row);
        if (coming[found.table].has(id)) stale[batch]!.add(at);
        else coming[found.table].set(id, { row: found.row, batch, at });
      });
    });
    for (const table of TABLE_NAMES) {
      if (coming[table].size === 0) continue;
      const rows = [...coming[table].values()].map(({ row }) => row);
      const added = await run<Record<string, unknown>>(...addition(table, rows));
      for (const row of added) coming[table].delete(idOf(table, row));
      for (const { batch, at } of coming[table].values()) stale[batch]!.add(at);
    }
    return group.map(({ messages }, batch) =>
      messages.filter(({ kind }, at) => kind === 'reading' || !stale[batch]!.has(at)),
    );
  }

  async #write(run: Run, changed: readonly Changed[]): Promise<void> {
    const rows = changed.map(({ key, folded: { state } }) => {
      const { revision, heardMs } = state;
      return { ...key, revision, heard_ms: heardMs, state };
    });
    await run(PUT, arraysOf(ROW, rows));
    const notices = changed.flatMap(({ folded }) => folded.notices);
    if (notices.length > 0) {
      const added = notices.map((notice) => {
        const { fleet, truck, channel, why, ms } = notice;
        return { fleet, truck, channel, why, alert: notice.alert.id, due_ms: ms, body: notice };
      });
      await run(ADD_NOTICES, arraysOf(NOTICE, added));
    }
    const trucks = rows.map(({ fleet, truck, revision }) => [fleet, truck, revision]);
    await run(NOTIFY, [JSON.stringify({ by: this.#instance, trucks })]);
  }
}

const namesOf = (keys: readonly TruckKey[]): [string[], string[]] => [
  keys.map(({ fleet }) => fleet),
  keys.map(({ truck }) => truck),
];

const isCut = ({ kind }: Incoming): boolean => kind === 'event' || kind === 'reading';

/** At most so many together, and each truck once. */
function grouped(batches: readonly Batch[]): Batch[][] {
  const groups: Batch[][] = [];
  let names = new Set<string>();
  for (const batch of batches) {
    const name = keyText(batch.key);
    if (groups.length === 0 || names.has(name) || names.size === MOST_TRUCKS) {
      groups.push([]);
      names = new Set();
    }
    names.add(name);
    groups.at(-1)!.push(batch);
  }
  return groups;
}
