import type { Span, StoreReader } from '../../adapters/store/reader.js';
import type { GatheredRun } from '../../report/gathered.js';
import type { StreamMs } from '../time.js';

/** Something that a run left behind: it was at work from … to. Config and version where it says what decided it. */
export interface Sign {
  boot: number;
  fromT: StreamMs;
  toT: StreamMs;
  config: string | null;
  version: string | null;
}

/**
 * The runs that left anything in a span, from the first to the last sign of each; a run that was given another configuration is
 * two of them.
 */
export function runsOf(reader: StoreReader, { fromMs, toMs }: Span, signs: readonly Sign[]): GatheredRun[] {
  const byBoot = new Map<number, Sign[]>();
  for (const sign of signs) {
    const own = byBoot.get(sign.boot);
    if (own === undefined) byBoot.set(sign.boot, [sign]);
    else own.push(sign);
  }
  return reader.runs.flatMap((run) => {
    const own = byBoot.get(run.boot);
    if (own === undefined) return [];
    const wall = (t: StreamMs): number => run.zero_wall_ms + t;
    const first = Math.max(
      wall(own.reduce((t, { fromT }) => Math.min(t, fromT), own[0]!.fromT)),
      fromMs ?? Number.NEGATIVE_INFINITY,
    );
    const last = Math.min(
      wall(own.reduce((t, { toT }) => Math.max(t, toT), own[0]!.toT)),
      toMs ?? Number.POSITIVE_INFINITY,
    );
    if (last < first) return [];
    const base = { synced: run.synced === 1 };
    const decided = own.filter(({ config }) => config !== null).sort((a, b) => a.toT - b.toT);
    const parts: GatheredRun[] = [];
    for (const { toT, config, version } of decided) {
      const before = parts.at(-1);
      if (before?.config === config && before.version === version) continue;
      const begin = before === undefined ? first : Math.max(first, wall(toT));
      if (before !== undefined) before.toMs = begin;
      parts.push({ fromMs: begin, toMs: last, ...base, config, version });
    }
    return parts.length > 0 ? parts : [{ fromMs: first, toMs: last, ...base, config: null, version: null }];
  });
}
