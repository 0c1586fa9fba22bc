import type { WallMs } from '../../daemon/time.js';
import type { QueuedNotice } from './contract.js';
import type { PostgresLink, Statement } from './postgres-link.js';
import { atMost } from './rows.js';

/**
 * Of one alert and channel the first that waits, due or not. Rows that another instance is taking are passed over, not waited for: as
 * long as they wait, what follows them is not due.
 */
const TAKE: Statement = {
  name: 'take-notices',
  text: `UPDATE notices SET due_ms = $1::bigint + $2, taken_ms = $1, attempts = attempts + 1 WHERE id IN (
      SELECT id FROM notices n WHERE state = 'waiting' AND due_ms <= $1 AND channel <> ALL ($4::text[])
        AND (SELECT true FROM notices b WHERE b.state = 'waiting' AND b.fleet = n.fleet AND b.truck = n.truck
          AND b.alert = n.alert AND b.channel = n.channel AND b.id < n.id LIMIT 1) IS NULL
      ORDER BY due_ms, id LIMIT $3 FOR UPDATE OF n SKIP LOCKED)
    RETURNING id::float8 AS id, attempts - 1 AS attempts, body AS notice`,
};
/** Done when it was taken: the caller's clock is the only one. */
const DONE: Statement = {
  name: 'notice-done',
  text: `UPDATE notices SET state = $1, done_ms = coalesce(taken_ms, due_ms), error = coalesce($2, error)
    WHERE id = $3 AND state = 'waiting'`,
};
const AGAIN: Statement = {
  name: 'notice-again',
  text: "UPDATE notices SET due_ms = $1, error = $2 WHERE id = $3 AND state = 'waiting'",
};

/** What leaves the office, as a queue of which each instance takes its part. */
export class PostgresNotices {
  readonly #link: PostgresLink;

  constructor(link: PostgresLink) {
    this.#link = link;
  }

  async due(nowMs: WallMs, leaseMs: number, limit: number, except: readonly string[] = []): Promise<QueuedNotice[]> {
    const rows = await this.#link.run<QueuedNotice>(TAKE, [nowMs, leaseMs, atMost(limit), except]);
    return rows.sort((a, b) => a.id - b.id);
  }

  async sent(id: number): Promise<void> {
    await this.#link.run(DONE, ['sent', null, id]);
  }

  async failed(id: number, againMs: WallMs | null, why: string): Promise<void> {
    if (againMs === null) await this.#link.run(DONE, ['given-up', why, id]);
    else await this.#link.run(AGAIN, [againMs, why, id]);
  }
}
