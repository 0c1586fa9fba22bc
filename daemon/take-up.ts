import type { RuleName, TruckConfig } from '../config/resolved.js';
import { forgetSupply } from './monitors/air.js';
import { newStrangers } from './monitors/layout-mismatch.js';
import { needs, touches, updateMarks } from './monitors/marks.js';
import { newPipelineState, type PipelineState } from './pipeline-state.js';
import type { Layout } from './truck/layout.js';
import { MOST_TIRE_AGE_MS } from './truck/tires.js';
import { type ChangeOf, changesBetween, judgedBy } from './what-changed.js';

/** Alerts that say themselves that a sensor tells nothing good. */
const SENSOR_RULES: readonly RuleName[] = ['tire-sensor-silent', 'tire-sensor-fault', 'brake-sensor-fault'];

/**
 * Takes up what the truck file, the office (trailer) and people's marks say now: forgets what was learned of what they have
 * changed, and has its alerts closed at the next tick. True when the buses are others: all has to be heard anew.
 */
export function takeUp(state: PipelineState, config: TruckConfig, layout: Layout, trailer: string | null): boolean {
  const before = state.judgedBy;
  state.judgedBy = judgedBy(config, layout, trailer);
  const isNew = before.buses.length === 0;
  if (!isNew) change(state, withSources(state, before.buses, changesBetween(before, state.judgedBy)));
  takeUpMarks(state, config, layout);
  return !isNew && takeUpBuses(state, before.buses);
}

function change(state: PipelineState, changeOf: ChangeOf): void {
  forgetChanged(state, changeOf);
  for (const a of Object.values(state.book.alerts)) {
    if (!a.open) continue;
    a.closing = changeOf(a.rule, a.subject) ?? a.closing;
    if (a.closing !== '') state.due = true;
  }
}

function takeUpMarks(state: PipelineState, config: TruckConfig, layout: Layout): void {
  const { begun, ended } = updateMarks(state.marks, config.marks, layout, (sensor) => isSilent(state, sensor));
  if (begun.length > 0) judgeAnew(state, (rule, subject) => begun.some((x) => touches(layout, x, rule, subject)));
  if (ended.length > 0) endMarks(state, layout, ended);
}

/**
 * Towed units that are there no more: their alerts are closed at this tick, and what was learned of their wheels, and of
 * senders that told of nothing else, is forgotten. A dolly goes with the trailer that stands on it.
 */
export function forgetUnits(state: PipelineState, units: readonly string[]): void {
  const heads = units.flatMap((unit) => (unit === 'trailer-2' ? [unit, 'dolly'] : [unit]));
  const isOf = (subject: string): boolean => heads.some((head) => subject.startsWith(`${head}/`));
  const changeOf: ChangeOf = (_, subject) => (isOf(subject) ? 'unit-gone' : null);
  change(state, withSources(state, state.judgedBy.buses, changeOf));
}

/** Senders that told of nothing but wheels of units that are gone are gone with them. buses: by number in the state. */
function withSources(state: PipelineState, buses: readonly string[], changeOf: ChangeOf): ChangeOf {
  const gone = new Map<number, boolean>();
  const note = (source: number, subject: string): void => {
    const isGone = changeOf(null, subject) === 'unit-gone';
    if (source >= 0) gone.set(source, isGone && gone.get(source) !== false);
  };
  for (const [subject, tire] of Object.entries(state.tires)) note(tire.readingSource, subject);
  for (const [subject, end] of Object.entries(state.wheelEnds)) note(end.source, subject);
  const names = new Set([...gone].filter(([, is]) => is).map(([n]) => `source/${buses[n >> 8]}/${n & 0xff}`));
  return (rule, subject) => (names.has(subject) ? 'unit-gone' : changeOf(rule, subject));
}

/** Rules that needed these sensors are judged again, from nothing. */
export function endMarks(state: PipelineState, layout: Layout, sensors: readonly string[]): void {
  judgeAnew(state, (rule, subject) => sensors.some((x) => needs(layout, x, rule, subject)));
}

/** What was learned is forgotten, what is open is closed, and the list says what is not judged now. */
function judgeAnew(state: PipelineState, isHit: (rule: RuleName | null, subject: string) => boolean): void {
  change(state, (rule, subject) => (isHit(rule, subject) ? 'marked-bad' : null));
  state.due = true;
}

/** An alert says that the sensor is silent or that nobody knows, or it has said nothing good for longer than a reading may be old. */
function isSilent(state: PipelineState, sensor: string): boolean {
  const alerts = Object.values(state.book.alerts).filter((a) => a.open && a.subject === sensor);
  if (alerts.some((a) => a.unsure || SENSOR_RULES.includes(a.rule))) return true;
  const tire = state.tires[sensor];
  return tire !== undefined && tire.silentMovingMs > MOST_TIRE_AGE_MS;
}

function takeUpBuses(state: PipelineState, before: readonly string[]): boolean {
  const now = state.judgedBy.buses;
  if (now.join() === before.join()) return false;
  const { transports, claims } = newPipelineState(now.length);
  Object.assign(state, { transports, claims, strangers: newStrangers() });
  const { life } = state;
  life.busFrameAt = now.map((name) => life.busFrameAt[before.indexOf(name)] ?? life.frameAt);
  return true;
}

/** Takes out of the state all that was learned of what changed; open alerts stay, to be closed. */
function forgetChanged(state: PipelineState, changeOf: ChangeOf): void {
  for (const [rule, subjects] of Object.entries(state.judgements)) {
    for (const subject of Object.keys(subjects)) {
      if (changeOf(rule as RuleName, subject) !== null) delete subjects[subject];
    }
  }
  for (const learned of [
    state.tires,
    state.leaks,
    state.pairs,
    state.coldStarts.starts,
    state.coldStarts.waiting,
    state.wheelEnds,
    state.towed,
    state.sources,
  ]) {
    for (const subject of Object.keys(learned)) if (changeOf(null, subject) !== null) delete learned[subject];
  }
  if (changeOf(null, 'air/supply') !== null) forgetSupply(state.air);
  for (const slot of Object.keys(state.minutes.slots)) {
    if (changeOf(null, slot.split(' ')[0]!) !== null) delete state.minutes.slots[slot];
  }
  const { alerts, muted } = state.book;
  for (const key of [...Object.keys(alerts), ...Object.keys(muted)]) {
    const [rule, subject] = key.split(' ') as [RuleName, string];
    if (changeOf(rule, subject) === null) continue;
    delete muted[key];
    if (alerts[key]?.open === false) delete alerts[key];
  }
}
