import type { RuleName, TruckConfig } from '../config/resolved.js';
import type { CloseReason } from './alerts/event.js';
import type { Layout } from './truck/layout.js';

/**
 * What the state was judged by, as far as an alert depends on it; part of the state, so that a reload and a start with
 * another truck file close the same alerts. Texts are only compared.
 */
export interface JudgedBy {
  /** Empty in a new state. */
  buses: string[];
  /** Unit → id, '' where it has none. */
  units: Record<string, string>;
  /** By rule that is on: its limits, delays and constants, without their sources. */
  rules: Record<string, string>;
  /** By subject: targets, chambers, and where its values come from. */
  subjects: Record<string, string>;
}

export const newJudgedBy = (): JudgedBy => ({ buses: [], units: {}, rules: {}, subjects: {} });

/** trailer: its id, which the office knows better than the truck file. */
export function judgedBy(config: TruckConfig, layout: Layout, trailer: string | null): JudgedBy {
  const rules: JudgedBy['rules'] = {};
  for (const [name, { enabled, criteria, constants }] of Object.entries(config.rules)) {
    const judged = Object.entries(criteria).map(([key, { basis: _, ...limit }]) => [key, limit]);
    if (enabled) rules[name] = JSON.stringify([judged, constants]);
  }
  const units = Object.fromEntries(
    config.units.map(({ unit, id }) => [unit, (unit === 'trailer' ? trailer : id) ?? '']),
  );
  return { buses: config.buses.map((bus) => bus.name), units, rules, subjects: subjectTexts(config, layout) };
}

function subjectTexts(config: TruckConfig, layout: Layout): JudgedBy['subjects'] {
  const { coldReferenceC, depotAirKpa, fixedGaugeSources, tirePositions, signals } = config;
  const signalsOf = (belongs: (subject: string) => boolean) => signals.filter((s) => belongs(s.subject));
  const texts: JudgedBy['subjects'] = {};
  for (const { subject, coldPressureKpa, peers, location } of layout.tires) {
    const named = tirePositions.flatMap(({ bus, source, tires }) =>
      Object.keys(tires).flatMap((byte) => (tires[Number(byte)] === subject ? [`${bus}/${source}/${byte}`] : [])),
    );
    const sent = [location, named, signalsOf((s) => s === subject)];
    texts[subject] = JSON.stringify([coldPressureKpa, coldReferenceC, depotAirKpa, fixedGaugeSources, peers, sent]);
  }
  for (const { subject, outer, inner } of layout.pairs) {
    texts[subject] = [outer, inner].map((i) => texts[layout.tires[i]!.subject]).join();
  }
  for (const { subject, chamber, bsaField } of layout.wheelEnds) {
    texts[subject] = JSON.stringify([chamber, bsaField, signalsOf((s) => s === subject)]);
  }
  texts.layout = layout.tires.map((tire) => `${tire.subject} ${tire.coldPressureKpa}`).join();
  texts['air/service'] = JSON.stringify(signalsOf((s) => s.startsWith('air/')));
  // The size of the combination decides limits, and what the compressor has to fill.
  texts['air/supply'] = JSON.stringify([texts['air/service'], config.vehicle, config.units.map(({ unit }) => unit)]);
  for (const { name } of config.buses) texts[`bus/${name}`] = '';
  return texts;
}

/** What an alert is no longer judged by; null: nothing of it changed. */
export type ChangeOf = (rule: RuleName | null, subject: string) => CloseReason | null;

export function changesBetween(before: JudgedBy, after: JudgedBy): ChangeOf {
  return (rule, subject) => {
    const [head = '', bus] = subject.split('/');
    const id = before.units[head];
    if (id !== undefined && (after.units[head] === undefined || (id !== '' && id !== after.units[head])))
      return 'unit-gone';
    const text = head === 'fault' || head === 'lamp' || head === 'source' ? `bus/${bus}` : subject;
    if (before.subjects[text] !== after.subjects[text]) return 'position-changed';
    return rule !== null && before.rules[rule] !== after.rules[rule] ? 'rule-changed' : null;
  };
}
