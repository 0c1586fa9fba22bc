import { createHash } from 'node:crypto';
import type { TruckConfig } from './resolved.js';

/** Hexadecimal digits over a text. */
export const sha256 = (text: string): string => createHash('sha256').update(text).digest('hex');

/** JSON with keys in order, so that equal data is equal text. */
export function canonicalJson(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(canonicalJson).join(',')}]`;
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  const entries = Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1));
  return `{${entries.map(([key, inner]) => `${JSON.stringify(key)}:${canonicalJson(inner)}`).join(',')}}`;
}

/**
 * Eight hex digits over all that decides which events come out: layout, senders, signals, references, marks and the rules
 * that are on. Not over names of fleet, truck and axles, who marked, units on the screen, broker, store, health page, clock, or
 * the texts behind a limit.
 */
export function configHash(config: Omit<TruckConfig, 'hash'>): string {
  const rules = Object.entries(config.rules)
    .filter(([, rule]) => rule.enabled)
    .map(([name, rule]) => {
      const criteria = Object.entries(rule.criteria).map(([key, { basis: _, ...judged }]) => [key, judged]);
      return [name, { criteria: Object.fromEntries(criteria), constants: rule.constants }];
    });
  const units = config.units.map((unit) => ({ ...unit, axles: unit.axles.map(({ name: _, ...axle }) => axle) }));
  const { vehicle, tirePositions, fixedGaugeSources, signals, coldReferenceC, depotAirKpa, marks } = config;
  const judged = {
    ...{ vehicle, units, tirePositions, fixedGaugeSources, signals, coldReferenceC, depotAirKpa },
    buses: config.buses.map((bus) => bus.name),
    rules: Object.fromEntries(rules),
    // Without any they do not count: nothing is judged otherwise than before there were marks.
    ...(marks.length === 0 ? {} : { marks: judgedMarks(marks) }),
  };
  return sha256(canonicalJson(judged)).slice(0, 8);
}

const judgedMarks = (marks: TruckConfig['marks']) =>
  marks
    .map(({ subject, what, untilMs }) => ({ subject, what, untilMs }))
    .sort((a, b) => (a.subject < b.subject ? -1 : a.subject > b.subject ? 1 : a.untilMs - b.untilMs));
