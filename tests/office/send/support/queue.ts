import type { Notice } from '../../../../office/core/model.js';
import { type OfficeStore, type QueuedNotice, StoreError } from '../../../../office/store/contract.js';

interface Row {
  id: number;
  notice: Notice;
  attempts: number;
  dueMs: number;
  state: 'waiting' | 'sent' | 'given-up';
  why: string | null;
}

/** The queue of a store, naively: what office/store/contract.ts promises and nothing else. */
export class MemoryQueue implements Pick<OfficeStore, 'dueNotices' | 'noticeSent' | 'noticeFailed'> {
  readonly rows: Row[] = [];
  isAway = false;

  put(...notices: Notice[]): void {
    for (const notice of notices) {
      this.rows.push({
        id: this.rows.length + 1,
        notice,
        attempts: 0,
        dueMs: notice.ms,
        state: 'waiting',
        why: null,
      });
    }
  }

  async dueNotices(
    nowMs: number,
    leaseMs: number,
    limit: number,
    except: readonly string[] = [],
  ): Promise<QueuedNotice[]> {
    this.#use();
    const due = this.rows.filter(
      (row) =>
        row.state === 'waiting' && row.dueMs <= nowMs && !except.includes(row.notice.channel) && this.#isFirst(row),
    );
    return due.slice(0, limit).map((row) => {
      row.dueMs = nowMs + leaseMs;
      row.attempts += 1;
      return { id: row.id, notice: row.notice, attempts: row.attempts - 1 };
    });
  }

  async noticeSent(id: number): Promise<void> {
    this.#use();
    this.rows[id - 1]!.state = 'sent';
  }

  async noticeFailed(id: number, againMs: number | null, why: string): Promise<void> {
    this.#use();
    const row = this.rows[id - 1]!;
    row.why = why;
    if (againMs === null) row.state = 'given-up';
    else row.dueMs = againMs;
  }

  #isFirst(row: Row): boolean {
    const key = ({ notice }: Row): string => `${notice.fleet}/${notice.truck}/${notice.alert.id}/${notice.channel}`;
    return !this.rows.some((other) => other.id < row.id && other.state === 'waiting' && key(other) === key(row));
  }

  #use(): void {
    if (this.isAway) throw new StoreError('the disk is full');
  }
}
