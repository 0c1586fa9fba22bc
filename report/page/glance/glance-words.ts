import { RULE_WORDS, URGENCY_NAMES } from '../../../daemon/alerts/words.js';
import type { ReportData } from '../../data.js';
import { pointAt } from '../plot/align.js';
import type { Clock } from '../words/time.js';
import { inUnits, type Show } from '../words/units.js';
import { urgencyAt } from './geometry.js';

const MOST_ALERTS = 4;

/** What was the case at an instant of the shift, in one line. */
export function glanceWords({ glance, gaps, lengthS }: ReportData, s: number, clock: Clock, show: Show): string {
  const parts = [clock.moment(s)];
  const within = ({ fromS, toS }: { fromS: number; toS: number }): boolean => s >= fromS && s <= toS;
  const trip = glance.trips.find(within);
  parts.push(...(trip ? [trip.label] : []), glance.life.find(within)?.state ?? 'awake');
  const i = glance.speed === null ? null : pointAt(glance.speed, s);
  if (i !== null) {
    const { v, low, high } = glance.speed!;
    const [from, to] = [inUnits(low?.[i] ?? v[i]!, 'km/h', show), inUnits(high?.[i] ?? v[i]!, 'km/h', show)];
    parts.push(from === to ? from : `${from} to ${to}`);
  }
  const gap = gaps.find(within);
  if (gap) parts.push(gap.what);
  const open = glance.alerts.flatMap((alert) => {
    const urgency = urgencyAt(alert, s, lengthS);
    return urgency === null ? [] : [`${URGENCY_NAMES[urgency]}: ${alert.place}, ${RULE_WORDS[alert.rule]}`];
  });
  parts.push(...open.slice(0, MOST_ALERTS));
  if (open.length > MOST_ALERTS) parts.push(`${open.length - MOST_ALERTS} more alerts`);
  return parts.join(' · ');
}
