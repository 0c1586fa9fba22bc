import { writeQuantity } from './quantities.js';
import { type Criterion, RULE_NAMES, type RuleConfig, type TruckConfig } from './resolved.js';
import type { DefaultRule, Defaults } from './rules.js';

const FROM_FILE = 'truck file';
const FROM_DEFAULTS = 'default';

const seconds = (s: number): string => `${s} s`;

function value(rule: DefaultRule, name: string, n: number | null): string {
  const dimension = rule.dimensions[name];
  return n === null || dimension === null || dimension === undefined ? 'state' : writeQuantity(n, dimension);
}

function wordsOf(rule: DefaultRule, name: string, c: Criterion): string {
  const raise =
    c.raise === null
      ? 'judged by its state'
      : `raise ${value(rule, name, c.raise)}${c.clear === null ? '' : `, clear ${value(rule, name, c.clear)}`}`;
  const when = c.of === null ? `after ${seconds(c.raiseAfterS)}` : `at ${c.of.n} of ${c.of.m}`;
  const clear = c.clearAfterS > 0 ? `, clear after ${seconds(c.clearAfterS)}` : '';
  return `${raise}, ${when}${clear}`;
}

const same = (a: unknown, b: unknown): boolean => JSON.stringify(a) === JSON.stringify(b);

function ruleLines(rule: DefaultRule, now: RuleConfig): string[] {
  const lines: string[] = [];
  for (const [name, c] of Object.entries(now.criteria)) {
    const from = same(c, rule.config.criteria[name]) ? FROM_DEFAULTS : FROM_FILE;
    const level = name === c.urgency ? name : `${name} (${c.urgency})`;
    lines.push(`  ${level}: ${wordsOf(rule, name, c)} [${from}]`, `    ${c.basis}`);
  }
  for (const [name, n] of Object.entries(now.constants)) {
    const from = n === rule.config.constants[name] ? FROM_DEFAULTS : FROM_FILE;
    lines.push(`  ${name} ${n} [${from}]`);
  }
  return lines;
}

/** Every rule that is judged with this truck file: its limits, where each comes from, and on whose authority. */
export function explainRules(config: TruckConfig, defaults: Defaults): string[] {
  return RULE_NAMES.flatMap((name) => {
    const rule = defaults[name];
    const now = config.rules[name];
    if (!rule.judged) return [`${name}: not judged by this version`];
    const from = now.enabled === rule.config.enabled ? FROM_DEFAULTS : FROM_FILE;
    if (!now.enabled) return [`${name}: off [${from}]`];
    return [`${name}: on [${from}]`, ...ruleLines(rule, now)];
  });
}
