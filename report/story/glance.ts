import type { Urgency } from '../../config/resolved.js';
import type { Glance } from '../data.js';
import type { Gathered } from '../gathered.js';
import type { FoundAlert } from './alerts.js';
import { drawn } from './lines.js';
import { minutesOf } from './series.js';
import { atS, spanOf } from './window.js';

/** A shift of ten hours has 600 minutes. */
const MOST_MINUTES = 1_000;
/** Bars of more alerts nobody could tell apart. */
export const MOST_BARS = 500;

/** The whole on one axis of time. */
export function glanceOf(gathered: Gathered, alerts: readonly FoundAlert[]): Glance {
  const speed = minutesOf(gathered, 'tractor', 'speed');
  const look = { label: 'speed', role: 'context', most: MOST_MINUTES } as const;
  return {
    speed: speed === null ? null : drawn(gathered, speed, 'km/h', look),
    trips: gathered.trips.map(({ startMs, endMs, record }) => ({
      fromS: atS(gathered, startMs),
      toS: atS(gathered, endMs),
      label: `trip ${record.trip}`,
    })),
    alerts: alerts.slice(0, MOST_BARS).map((alert) => ({
      id: alert.id,
      rule: alert.rule,
      place: alert.place,
      fromS: atS(gathered, alert.fromMs),
      toS: alert.toMs === null ? null : atS(gathered, alert.toMs),
      steps: stepsOf(gathered, alert),
    })),
    life: lifeOf(gathered),
  };
}

/** Each urgency from where it began. */
function stepsOf(gathered: Gathered, { events, fromMs }: FoundAlert): { s: number; urgency: Urgency }[] {
  const { draft } = events[0]!;
  const steps = [
    { s: atS(gathered, fromMs), urgency: draft.change === 'raised' ? draft.urgency : (draft.was ?? draft.urgency) },
  ];
  for (const { atMs, draft: d } of events) {
    const isLevel = d.change !== 'cleared' && d.change !== 'closed';
    if (isLevel && d.urgency !== steps.at(-1)!.urgency) steps.push({ s: atS(gathered, atMs), urgency: d.urgency });
  }
  return steps;
}

function lifeOf(gathered: Gathered): Glance['life'] {
  const end = spanOf(gathered).toMs;
  return gathered.life.flatMap(({ atMs, state }, i) => {
    const toMs = gathered.life[i + 1]?.atMs ?? end;
    if (state === 'awake' || toMs <= atMs) return [];
    return [{ fromS: atS(gathered, atMs), toS: atS(gathered, toMs), state }];
  });
}
