import { type RuleName, URGENCIES, type Urgency } from '../../config/resolved.js';
import type { Alert, When } from './compare-alerts.js';

/** In the order in which they are told. */
export const DIFFERENCES = ['only-config', 'only-with', 'urgency', 'earlier', 'later', 'pieces', 'end'] as const;
/**
 * How one problem was told differently: by one configuration alone; with another worst urgency; earlier or later by the
 * second one, at its beginning or at a level; in another number of alerts; with another end.
 */
export type Difference = (typeof DIFFERENCES)[number];

/** One problem of one subject: alerts of both configurations that overlap in time, directly or by way of others. */
export interface Pair {
  rule: RuleName;
  subject: string;
  place: string;
  /** In the order of time; mostly one each. */
  config: Alert[];
  with: Alert[];
  /** Empty: alike. In the order of DIFFERENCES. */
  differs: Difference[];
  /** Second less first, s; below 0: the second is earlier. null: one of them has none. Levels above the least one alone. */
  beginsS: number | null;
  levelsS: Partial<Record<Urgency, number>>;
  endsS: number | null;
}

/**
 * Puts alerts of both configurations together: same rule and subject, and overlapping in time; touching is enough. One alert
 * that the other configuration has in two pieces is one problem.
 */
export function matchAlerts(config: readonly Alert[], other: readonly Alert[]): Pair[] {
  const bySubject = new Map<string, { alert: Alert; second: boolean }[]>();
  const add = (alert: Alert, second: boolean): void => {
    const key = `${alert.rule} ${alert.subject}`;
    const list = bySubject.get(key);
    if (list === undefined) bySubject.set(key, [{ alert, second }]);
    else list.push({ alert, second });
  };
  for (const alert of config) add(alert, false);
  for (const alert of other) add(alert, true);
  const pairs: Pair[] = [];
  for (const list of bySubject.values()) {
    list.sort((a, b) => a.alert.begin.s - b.alert.begin.s || Number(a.second) - Number(b.second));
    let open: { config: Alert[]; with: Alert[] } | null = null;
    let until = Number.NEGATIVE_INFINITY;
    for (const { alert, second } of list) {
      if (open === null || alert.begin.s > until) {
        if (open !== null) pairs.push(pairOf(open.config, open.with));
        open = { config: [], with: [] };
        until = Number.NEGATIVE_INFINITY;
      }
      (second ? open.with : open.config).push(alert);
      until = Math.max(until, alert.untilS);
    }
    if (open !== null) pairs.push(pairOf(open.config, open.with));
  }
  return pairs.sort((a, b) => beginOf(a).s - beginOf(b).s);
}

/** When the first of the two configurations told it. */
export function beginOf({ config, with: other }: Pair): When {
  const [a, b] = [config[0]?.begin, other[0]?.begin];
  if (a === undefined || b === undefined) return (a ?? b)!;
  return b.s < a.s ? b : a;
}

/** The worst that the alerts of one side reached. */
export function worstOf(alerts: readonly Alert[]): Urgency {
  return URGENCIES[Math.max(...alerts.map(({ urgency }) => URGENCIES.indexOf(urgency)))]!;
}

function pairOf(config: Alert[], other: Alert[]): Pair {
  const { rule, subject, place } = (config[0] ?? other[0])!;
  const pair: Pair = {
    ...{ rule, subject, place, config, with: other, differs: [] },
    ...{ beginsS: null, levelsS: {}, endsS: null },
  };
  if (config.length === 0) pair.differs = ['only-with'];
  else if (other.length === 0) pair.differs = ['only-config'];
  else compare(pair);
  return pair;
}

function compare(pair: Pair): void {
  const { config, with: other } = pair;
  const found = new Set<Difference>();
  if (worstOf(config) !== worstOf(other)) found.add('urgency');
  pair.beginsS = other[0]!.begin.s - config[0]!.begin.s;
  const apart = [pair.beginsS];
  for (const level of URGENCIES) {
    const [a, b] = [firstAt(config, level), firstAt(other, level)];
    // A level that was there from the beginning says nothing more.
    if (a === null || b === null || (a === config[0]!.begin && b === other[0]!.begin)) continue;
    pair.levelsS[level] = b.s - a.s;
    apart.push(b.s - a.s);
  }
  if (apart.some((s) => s < 0)) found.add('earlier');
  if (apart.some((s) => s > 0)) found.add('later');
  if (config.length !== other.length) found.add('pieces');
  const [a, b] = [config.at(-1)!.end, other.at(-1)!.end];
  if (a !== null && b !== null) pair.endsS = b.s - a.s;
  if (a?.s !== b?.s || a?.how !== b?.how || a?.reason !== b?.reason) found.add('end');
  pair.differs = DIFFERENCES.filter((one) => found.has(one));
}

/** When one side first told it at least so urgent. */
function firstAt(alerts: readonly Alert[], level: Urgency): When | null {
  for (const { reached } of alerts) if (reached[level] !== undefined) return reached[level];
  return null;
}
