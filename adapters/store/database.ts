import { statSync } from 'node:fs';
import type { EventDraft } from '../../daemon/alerts/event.js';
import type { StreamMs } from '../../daemon/time.js';
import { AgeRetention } from './age.js';
import type {
  Commit,
  GapRecord,
  NumberedCheck,
  NumberedEvent,
  NumberedOpen,
  NumberedTrip,
  RunInfo,
  StoreOpened,
  StoreOptions,
  StoreStats,
} from './contract.js';
import { StoreError, storeError } from './errors.js';
import { LastWords, type Written } from './last-words.js';
import { parsed } from './parsed.js';
import { checkOf, knownOf, openOf, tripOf } from './rows.js';
import { openSession, replaceFile, type Session } from './session.js';
import { Sizes } from './sizes.js';
import { Thinning } from './thinning.js';
import { tripBody } from './writer.js';

/** Events of one answer of outbox(), whatever limit is asked for: 4 KB each. */
export const MAX_OUTBOX_ROWS = 1_000;
/** How often size and age are looked at, in stream time; work that is left over goes on with every commit. */
const RETENTION_EVERY_MS = 60_000;
/** Pieces of history that give way when a commit finds the file full. */
const MAX_MAKE_ROOM = 4;

/**
 * The store itself, synchronous; the worker calls it, and so may tests. Every method throws StoreError.
 * A database that turns out broken, or whose file has gone, is moved aside and a new one begun in its place: `opened` changes,
 * the open alerts are raised anew with the state that was last committed, and the call is done on the new one.
 */
export class StoreDatabase {
  readonly #options: StoreOptions;
  #session: Session;
  #sizes: Sizes;
  #age: AgeRetention;
  #thinning: Thinning;
  #run: RunInfo;
  #closed = false;
  /** Why the file must be replaced, while that has not worked. */
  #broken: StoreError | null = null;
  #commits = 0;
  #retentionFailures = 0;
  #checkedAt: StreamMs = Number.NEGATIVE_INFINITY;
  #moreToDo = false;
  readonly #last = new LastWords();

  /** `prepare`: called once with what was opened, before anything else. */
  constructor(options: StoreOptions, prepare: (session: Session) => void = () => {}) {
    this.#options = options;
    this.#run = options.run;
    this.#session = openSession(options);
    prepare(this.#session);
    this.#last.inherit(this.#session.inherited.drafts, this.#session.inherited.open);
    [this.#sizes, this.#age, this.#thinning] = this.#keepers();
    // A file that took the place of another: what that had open is raised in it.
    if (this.#session.opened.boot === 1) for (const commit of this.#last.asCommits()) this.#apply([commit]);
  }

  get opened(): StoreOpened {
    return this.#session.opened;
  }

  /** The connection, for tests and measurements only. */
  get connection(): Session['db'] {
    return this.#session.db;
  }

  /** All of them in one transaction, answered one by one. */
  commit(commits: readonly Commit[]): NumberedEvent[][] {
    const numbered = this.#guarded(() => {
      this.#checkFile();
      return this.#makingRoom(() => this.#apply(commits));
    });
    this.#commits += commits.length;
    return numbered;
  }

  outbox(after: number, limit: number): NumberedEvent[] {
    return this.#guarded(() => {
      const { store } = this.#session.identity;
      const rows = this.#session.sql.outbox.all(after, Math.max(0, Math.min(limit, MAX_OUTBOX_ROWS)));
      return rows.map((row) => ({
        seq: row.seq,
        store,
        boot: row.boot,
        stored: true,
        alertId: row.alert_id,
        causeId: row.cause,
        draft: parsed<EventDraft>(row.draft, this.#options.path),
        ...knownOf(row),
      }));
    });
  }

  confirm(seq: number): void {
    const last = this.#guarded(() => {
      const given = this.#session.sql.meta.get()?.last_seq ?? 0;
      if (seq <= given) this.#session.sql.confirm.run(seq);
      return given;
    });
    if (seq <= last) return;
    // Whoever put back a whole folder put back what would have shown it at the start as well. Only the office knows.
    const older = `number ${seq} was received, the last one given is ${last}: this database is older`;
    this.#broken = new StoreError('store-corrupt', `${this.#options.path}: ${older}`);
    this.#guarded(() => {});
  }

  gaps(): GapRecord[] {
    return this.#guarded(() =>
      this.#session.sql.gaps.all().map((row) => parsed<GapRecord>(row.body, this.#options.path)),
    );
  }

  confirmGap(gap: GapRecord): void {
    const { fromSeq, toSeq, what, count, why } = gap;
    const body = JSON.stringify({ fromSeq, toSeq, what, count, why });
    this.#guarded(() => this.#session.sql.confirmGap.run(body));
  }

  trips(limit: number): NumberedTrip[] {
    return this.#guarded(() => {
      const { store } = this.#session.identity;
      const rows = this.#session.sql.trips.all(Math.max(0, Math.min(limit, MAX_OUTBOX_ROWS)));
      return rows.map((row) => ({ store, boot: row.boot, record: tripOf(row, this.#options.path), ...knownOf(row) }));
    });
  }

  confirmTrip(trip: { boot: number; trip: number }): void {
    this.#guarded(() => this.#session.sql.confirmTrip.run(tripBody(trip)));
  }

  checks(limit: number): NumberedCheck[] {
    return this.#guarded(() => {
      const { store } = this.#session.identity;
      const rows = this.#session.sql.checks.all(Math.max(0, Math.min(limit, MAX_OUTBOX_ROWS)));
      return rows.map((row) => ({ store, boot: row.boot, record: checkOf(row, this.#options.path), ...knownOf(row) }));
    });
  }

  confirmCheck({ boot, trip }: { boot: number; trip: number }): void {
    this.#guarded(() => this.#session.sql.confirmCheck.run(boot, trip));
  }

  ordinals(ids: readonly string[]): (number | null)[] {
    return this.#guarded(() => ids.map((id) => this.#session.sql.ordinalOf.get(id) ?? null));
  }

  open(): NumberedOpen | null {
    return this.#guarded(() => {
      const row = this.#session.sql.open.get();
      return row === undefined ? null : openOf(row, this.#session.identity.store, this.#options.path);
    });
  }

  clock(run: RunInfo): void {
    this.#run = run;
    this.#guarded(() =>
      this.#session.sql.setClock.run(run.zeroWallMs, run.synced ? 1 : 0, this.#session.identity.boot),
    );
  }

  stats(): StoreStats {
    return this.#guarded(() => {
      const { size = 0, oldest = null } = this.#session.sql.outboxSize.get() ?? {};
      return {
        outbox: size,
        oldestSeq: oldest,
        trips: this.#session.sql.tripsWaiting.get() ?? 0,
        bytes: this.#sizes.fileBytes(),
        commits: this.#commits,
        droppedRows: this.#session.writer.dropped,
        retentionFailures: this.#retentionFailures,
      };
    });
  }

  /**
   * Retention, one bounded step; to be called after commits have been answered. A failure is counted and tried again a minute
   * later, but for a broken or lost file, which is replaced.
   */
  maintain(): void {
    if (this.#closed || (!this.#moreToDo && this.#last.t - this.#checkedAt < RETENTION_EVERY_MS)) return;
    this.#checkedAt = this.#last.t;
    this.#moreToDo = false;
    try {
      this.#guarded(() => {
        this.#moreToDo = this.#keep();
      });
    } catch {
      this.#retentionFailures++;
    }
  }

  /** Everything into the one file, without a write-ahead log beside it where that can be. May be called twice. */
  close(): void {
    if (this.#closed) return;
    this.#closed = true;
    try {
      this.#session.db.pragma('wal_checkpoint(TRUNCATE)');
      this.#session.db.close();
    } catch {
      // Nothing is lost: what was answered is in the log, from where the next start takes it.
      this.#session.db.close();
    }
  }

  #keepers(): [Sizes, AgeRetention, Thinning] {
    const { db, sql } = this.#session;
    const { maxBytes, keepMs } = this.#options;
    return [new Sizes(db, maxBytes), new AgeRetention(db, keepMs), new Thinning(db, sql)];
  }

  #apply(commits: readonly Written[]): NumberedEvent[][] {
    const { db, writer } = this.#session;
    try {
      const all = db.transaction(() => commits.map((commit) => writer.apply(commit, this.#run, this.#last.drafts)));
      const numbered = all.immediate();
      commits.forEach((commit, index) => {
        this.#last.committed(commit, numbered[index] ?? []);
      });
      return numbered;
    } catch (error) {
      writer.forget();
      throw error;
    }
  }

  /** Events come before history: a file at its limit gives up its oldest history until the commit fits. A full disk is no reason. */
  #makingRoom<T>(work: () => T): T {
    for (let piece = 0; ; piece++) {
      try {
        return work();
      } catch (error) {
        const full = storeError(error, this.#options.path).code === 'store-full' && this.#sizes.tight();
        if (!full || piece >= MAX_MAKE_ROOM || !this.#sizes.trimChunk()) throw error;
      }
    }
  }

  /** Gives true when more is left to do. */
  #keep(): boolean {
    const lastSeq = this.#session.sql.meta.get()?.last_seq ?? 0;
    let thinned = 0;
    if (this.#sizes.alertsOver(lastSeq) > 0) {
      thinned = this.#thinning.step();
      if (thinned > 0) this.#sizes.remeasure(lastSeq);
    }
    const trimmed = this.#sizes.trim();
    const aged = this.#age.step(this.#last.t, this.#run);
    return thinned > 0 || !trimmed || !aged;
  }

  /** Otherwise a commit would be answered that is gone with the next start. */
  #checkFile(): void {
    const { path } = this.#options;
    const now = statSync(path, { throwIfNoEntry: false });
    if (now?.ino === this.#session.inode) return;
    throw new StoreError('store-corrupt', `${path}: was removed or replaced while in use`);
  }

  #guarded<T>(work: () => T): T {
    const { path } = this.#options;
    if (this.#closed) throw new StoreError('store-closed', `${path}: the store is closed`);
    try {
      if (this.#broken !== null) this.#startAnew(this.#broken);
      return work();
    } catch (error) {
      const known = storeError(error, path);
      if (known.code !== 'store-corrupt' || this.#broken !== null) throw known;
      this.#broken = known;
    }
    try {
      this.#startAnew(this.#broken);
      return work();
    } catch (error) {
      throw storeError(error, path);
    }
  }

  /** `#broken` stays until this has worked, so that the next call tries again. */
  #startAnew(why: StoreError): void {
    try {
      this.#session.db.close();
    } catch {
      // A broken file may fail to be closed; its handle is given up all the same.
    }
    this.#session = replaceFile({ ...this.#options, run: this.#run }, why);
    [this.#sizes, this.#age, this.#thinning] = this.#keepers();
    for (const commit of this.#last.asCommits()) this.#apply([commit]);
    this.#broken = null;
  }
}
