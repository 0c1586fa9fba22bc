import type { Criterion, TruckConfig, Urgency } from '../../config/resolved.js';
import type { Change } from '../../daemon/alerts/event.js';
import { URGENCY_NAMES } from '../../daemon/alerts/words.js';
import type { PlotLimit, PlotMark, PlotSpan } from '../data.js';
import type { Gathered, GatheredEvent } from '../gathered.js';
import { exact } from '../words/exact.js';
import type { GatheredAlert, Scene } from './picture.js';
import { atS, lengthS } from './window.js';
import { lasting } from './wording.js';

/** What limits of a rule are drawn on an axis. */
export interface LimitLook {
  axis: 0 | 1;
  /** SI unit of the axis, for the label: kPa, °C, mm … */
  unit: string;
  /** A limit of the rule in the axis' unit, e.g. share × target; null: it is not of that axis. Left out: as it is. */
  toAxis?: (value: number, name: string) => number | null;
}

/** Raise and clear of each level of the alert's rule. None where the truck file is not known. */
export function limitLines(scene: Scene, { axis, unit, toAxis = (value) => value }: LimitLook): PlotLimit[] {
  const show = showOf(scene.gathered);
  return Object.entries(scene.alert.criteria).flatMap(([name, criterion]) =>
    (['raise', 'clear'] as const).flatMap((kind) => {
      const limit = criterion[kind];
      const value = limit === null ? null : toAxis(limit, name);
      if (value === null || !Number.isFinite(value)) return [];
      const { urgency } = criterion;
      const label = `${criterionName(name)}: ${kind} at ${exact(value, unit, show)}`;
      return [{ label, kind, urgency, axis, value: Math.round(value * 10_000) / 10_000 }];
    }),
  );
}

/** The units in which people read; SI where no truck file says otherwise. */
export function showOf(gathered: Gathered): TruckConfig['show'] {
  return gathered.config?.show ?? { pressure: 'kPa', temperature: '°C', position: 'exact' };
}

/** A criterion in words: the ordinary levels as people call them, others by their own name. */
export function criterionName(name: string): string {
  return (URGENCY_NAMES as Record<string, string>)[name] ?? name.replaceAll('-', ' ');
}

/** The limit by which an event came to its level: the one whose source it names, else the ordinary one. */
export function criterionOf(alert: GatheredAlert, urgency: Urgency, basis: string): [string, Criterion] | null {
  const ofLevel = Object.entries(alert.criteria).filter(([, c]) => c.urgency === urgency);
  const named = ofLevel.filter(([, c]) => c.basis === basis);
  const candidates = named.length > 0 ? named : ofLevel;
  return candidates.find(([name]) => name === urgency) ?? candidates[0] ?? null;
}

const RAISING: readonly Change[] = ['raised', 'worse', 'reopened'];
const CLEARING: readonly Change[] = ['better', 'cleared'];

/**
 * What lay behind each decision: how long the limit had to be met before it was raised, or left before it fell or cleared; when
 * the data were too old to tell; and while the alert was open. Delays that count readings or applications have no span.
 */
export function delaySpans(scene: Scene): PlotSpan[] {
  const { gathered, alert } = scene;
  const spans: PlotSpan[] = [];
  const add = (kind: PlotSpan['kind'], fromMs: number, toMs: number, label: string): void => {
    const from = Math.max(fromMs, scene.fromMs);
    const to = Math.min(toMs, scene.toMs);
    if (from < to) spans.push({ kind, fromS: atS(gathered, from), toS: atS(gathered, to), label });
  };
  for (const event of alert.events) {
    const delayS = delayOf(alert, event);
    if (delayS <= 0) continue;
    const isRising = RAISING.includes(event.draft.change);
    const what = isRising ? `had to hold for ${lasting(delayS)}` : `had to be good for ${lasting(delayS)}`;
    add(isRising ? 'raising' : 'clearing', event.atMs - delayS * 1000, event.atMs, what);
  }
  for (const [fromMs, toMs] of unsureOf(alert.events, scene.toMs)) add('unsure', fromMs, toMs, 'data too old to tell');
  for (const [fromMs, toMs] of openOf(alert.events, scene.toMs)) add('open', fromMs, toMs, 'alert open');
  return spans;
}

/** How long the evidence of a change had to last, s; 0: it counts otherwise, or is not known. */
export function delayOf(alert: GatheredAlert, { atMs, draft }: GatheredEvent): number {
  if (RAISING.includes(draft.change)) return criterionOf(alert, draft.urgency, draft.basis)?.[1].raiseAfterS ?? 0;
  if (!CLEARING.includes(draft.change)) return 0;
  // An end names the worst level and its source; what was left is what it had risen to.
  const left = draft.was ?? draft.urgency;
  const rise = alert.events.findLast(
    (e) => e.atMs <= atMs && RAISING.includes(e.draft.change) && e.draft.urgency === left,
  );
  return criterionOf(alert, left, rise?.draft.basis ?? '')?.[1].clearAfterS ?? 0;
}

function unsureOf(events: readonly GatheredEvent[], endMs: number): [number, number][] {
  const found: [number, number][] = [];
  let since: number | null = null;
  for (const { atMs, draft } of events) {
    if (draft.change === 'unsure') since ??= atMs;
    else if (since !== null && ['sure', 'cleared', 'closed'].includes(draft.change)) {
      found.push([since, atMs]);
      since = null;
    }
  }
  return since === null ? found : [...found, [since, endMs]];
}

/** From each raise to its end: an alert that was reopened has more than one. */
export function openOf(events: readonly GatheredEvent[], endMs: number): [number, number][] {
  const found: [number, number][] = [];
  let since: number | null = events[0]?.atMs ?? null;
  for (const { atMs, draft } of events) {
    const isEnd = draft.change === 'cleared' || draft.change === 'closed';
    if (isEnd && since !== null) {
      found.push([since, atMs]);
      since = null;
    } else if (!isEnd) since ??= atMs;
  }
  return since === null ? found : [...found, [since, endMs]];
}

/** Its changes within the window. */
export function changeMarks({ gathered, alert, fromMs, toMs }: Scene): PlotMark[] {
  return alert.events
    .filter(({ atMs }) => atMs >= fromMs && atMs <= toMs)
    .map(({ atMs, draft: { change, urgency } }) => ({
      s: atS(gathered, atMs),
      change,
      urgency,
      label: RAISING.includes(change) || change === 'better' ? `${change}: ${URGENCY_NAMES[urgency]}` : change,
    }));
}

/** Gaps of the data, and what was withheld of this subject, as far as they touch the window. */
export function otherSpans({ gathered, alert, fromMs, toMs }: Scene): PlotSpan[] {
  const cut = (kind: PlotSpan['kind'], from: number, to: number, label: string): PlotSpan[] => {
    const [a, b] = [Math.max(from, fromMs), Math.min(to, toMs)];
    return a < b ? [{ kind, fromS: atS(gathered, a), toS: atS(gathered, b), label }] : [];
  };
  return [
    ...gathered.gaps.flatMap((g) =>
      cut('gap', g.fromMs, g.toMs, `nothing heard for ${lasting(lengthS(g.toMs - g.fromMs))}`),
    ),
    ...gathered.muted
      .filter((m) => m.subject === alert.subject)
      .flatMap((m) => cut('muted', m.fromMs, m.toMs, `${m.rule} not told: ${m.by}`)),
  ];
}
