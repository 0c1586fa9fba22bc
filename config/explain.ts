import { isMap, type Origins } from './layers.js';
import { writeQuantity } from './quantities.js';
import { DEFAULT_TEXTS } from './resolve.js';
import { type Criterion, RULE_NAMES, type RuleConfig, type TruckConfig } from './resolved.js';
import type { DefaultRule, Defaults } from './rules.js';
import { SECTIONS } from './schema.js';

/** Every effective value of a truck with the place where it was written, and every limit with the authority behind it. */
export function explain(config: TruckConfig, origins: Origins, defaults: Defaults): string[] {
  const sections = Object.keys(SECTIONS).filter((name) => name !== 'rules');
  return [...sections.flatMap((name) => sectionLines(name, config, origins)), ...ruleLines(config, origins, defaults)];
}

type Path = readonly PropertyKey[];

const FROM_DEFAULTS = 'default';

function tag(origins: Origins, path: Path): string {
  const origin = origins.of(path);
  return origin === null ? FROM_DEFAULTS : `${origin.file}:${origin.line}`;
}

function sectionLines(name: string, config: TruckConfig, origins: Origins): string[] {
  const written = Object.hasOwn(origins.written, name) ? writtenLines([name], origins.written[name], origins) : [];
  const unwritten = DEFAULT_TEXTS.filter(
    ([path]) => (path === name || path.startsWith(`${name}.`)) && isInForce(path, config, origins),
  );
  const acknowledge = name !== 'buses' ? [] : config.buses.flatMap((_, index) => busDefault(index, origins));
  return [...written, ...unwritten.map(([path, text]) => `${path}: ${text} [${FROM_DEFAULTS}]`), ...acknowledge];
}

/** A default holds where nothing is written, and within a section that can be left out only when it is there. */
function isInForce(path: string, config: TruckConfig, origins: Origins): boolean {
  const steps = path.split('.');
  if (origins.of(steps) !== null) return false;
  return steps.length === 1 || (config as unknown as Record<string, unknown>)[steps[0]!] !== null;
}

function busDefault(index: number, origins: Origins): string[] {
  if (origins.of(['buses', index, 'acknowledge']) !== null) return [];
  return [`buses ${index + 1}.acknowledge: no [${FROM_DEFAULTS}]`];
}

/** Maps value by value; entries of lists, which come from one file, each on one line. */
function writtenLines(path: Path, value: unknown, origins: Origins): string[] {
  if (isMap(value) && Object.keys(value).length > 0) {
    return Object.entries(value).flatMap(([key, inner]) => writtenLines([...path, key], inner, origins));
  }
  const name = path.join('.');
  if (Array.isArray(value) && value.length > 0) {
    return value.map((item, n) => `${name} ${n + 1}: ${flow(item)} [${tag(origins, [...path, n])}]`);
  }
  return [`${name}: ${flow(value)} [${tag(origins, path)}]`];
}

function flow(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(flow).join(', ')}]`;
  if (!isMap(value)) return String(value);
  return `{${Object.entries(value)
    .map(([key, inner]) => `${key}: ${flow(inner)}`)
    .join(', ')}}`;
}

function ruleLines(config: TruckConfig, origins: Origins, defaults: Defaults): string[] {
  return RULE_NAMES.flatMap((name) => {
    const rule = defaults[name];
    const now = config.rules[name];
    const path = ['rules', name];
    if (!rule.judged) return [`${name}: not judged by this version`];
    const from = tag(origins, [...path, 'enabled']);
    if (!now.enabled) return [`${name}: off [${from}]`];
    return [`${name}: on [${from}]`, ...limitLines(rule, now, path, origins)];
  });
}

function limitLines(rule: DefaultRule, now: RuleConfig, path: Path, origins: Origins): string[] {
  const lines: string[] = [];
  for (const [name, c] of Object.entries(now.criteria)) {
    const here = [...path, name === c.urgency ? 'levels' : 'also', name];
    const level = name === c.urgency ? name : `${name} (${c.urgency})`;
    const parts = partsOf(rule, name, c).map(([key, text]) => [text, tag(origins, [...here, key])] as const);
    const basis = origins.of([...here, 'basis']) === null ? '' : ` [${tag(origins, [...here, 'basis'])}]`;
    lines.push(`  ${level}: ${tagged(parts)}`, `    ${c.basis}${basis}`);
  }
  for (const [name, n] of Object.entries(now.constants)) {
    lines.push(`  ${name} ${n} [${tag(origins, [...path, 'constants', name])}]`);
  }
  return lines;
}

/** What a level is made of: the key in the file, and words. */
function partsOf(rule: DefaultRule, name: string, c: Criterion): [key: string, text: string][] {
  const dimension = rule.dimensions[name];
  const shown = (n: number) => (dimension == null ? 'state' : writeQuantity(n, dimension));
  return [
    ['raise', c.raise === null ? 'judged by its state' : `raise ${shown(c.raise)}`],
    ...(c.raise === null || c.clear === null ? [] : [['clear', `clear ${shown(c.clear)}`] as [string, string]]),
    c.of === null ? ['raiseAfter', `after ${c.raiseAfterS} s`] : ['of', `at ${c.of.n} of ${c.of.m}`],
    ...(c.clearAfterS > 0 ? [['clearAfter', `clear after ${c.clearAfterS} s`] as [string, string]] : []),
  ];
}

/** A place behind the last of the neighbours that come from it. */
function tagged(parts: readonly (readonly [text: string, from: string])[]): string {
  return parts.map(([text, from], n) => (parts[n + 1]?.[1] === from ? text : `${text} [${from}]`)).join(', ');
}
