import type { GapRecord } from './contract.js';
import type { Statements } from './statements.js';

/** A gap that has not left yet grows, so that there is never more than one of a kind. Runs inside the caller's transaction. */
export function recordGap(sql: Statements, gap: GapRecord): void {
  const grown = { ...gap };
  for (const { body } of sql.gaps.all()) {
    const waiting = JSON.parse(body) as GapRecord;
    if (waiting.what !== gap.what || waiting.why !== gap.why) continue;
    sql.confirmGap.run(body);
    grown.fromSeq = Math.min(grown.fromSeq, waiting.fromSeq);
    grown.toSeq = Math.max(grown.toSeq, waiting.toSeq);
    grown.count += waiting.count;
  }
  sql.setGap.run(grown.fromSeq, JSON.stringify(grown));
}
