import { z } from 'zod';
import { type Finding, suggest } from './problems.js';
import { type Dimension, type Parsed, parseAnyQuantity, parseOf, parseQuantity, writeQuantity } from './quantities.js';
import { type Criterion, RULE_NAMES, type RuleConfig, type RuleName, URGENCIES, type Urgency } from './resolved.js';
import { map, quantity, word, words, yesNo } from './scalars.js';

const HOLD = quantity('duration', 0, 86_400);

const level = map({
  raise: z.string(),
  clear: z.string(),
  raiseAfter: HOLD,
  clearAfter: HOLD,
  of: z.string(),
  basis: words(200),
}).partial();
type LevelText = z.infer<typeof level>;

const constants = z.record(z.string(), z.string());

/** What a truck file may say of one rule: only what differs. */
export const ruleOverride = map({
  enabled: yesNo(),
  levels: z.record(z.string(), level),
  also: z.record(z.string(), level),
  constants,
}).partial();
export type RuleOverride = z.infer<typeof ruleOverride>;

/** defaults.yaml: everything is said. */
const defaultLevel = map({
  raise: z.string(),
  clear: z.string(),
  raiseAfter: HOLD.optional(),
  clearAfter: HOLD.optional(),
  of: z.string().optional(),
  basis: words(200),
});
const defaultWay = z.strictObject({ urgency: word(URGENCIES), ...defaultLevel.shape });
export const defaultsFile = z.record(
  z.enum(RULE_NAMES),
  map({
    enabled: yesNo(),
    judged: yesNo().optional(),
    levels: z.partialRecord(z.enum(URGENCIES), defaultLevel),
    also: z.record(z.string(), defaultWay).optional(),
    constants: constants.optional(),
  }),
);

/** A rule with what its numbers measure, so that a truck file can be held to the same. */
export interface DefaultRule {
  config: RuleConfig;
  /** False: the program does not judge this rule yet. */
  judged: boolean;
  /** Per criterion; null where it judges a state. */
  dimensions: Record<string, Dimension | null>;
}
export type Defaults = Record<RuleName, DefaultRule>;

/** The ends of constants' names say their unit. Longest first. */
const CONSTANT_UNITS: readonly [RegExp, Dimension, number?][] = [
  [/KpaPerMin$/, 'pressureRate'],
  [/Kpa$/, 'pressure'],
  [/Share$/, 'share'],
  [/Mm$/, 'length'],
  [/Hours$/, 'duration', 3600],
  [/S$/, 'duration'],
  [/C$/, 'temperature'],
  [/./, 'number'],
];

export function constantDimension(name: string): [Dimension, number] {
  const [, dimension, per] = CONSTANT_UNITS.find(([end]) => end.test(name))!;
  return [dimension, per ?? 1];
}

/** The defaults as plain data. Throws when defaults.yaml is wrong: that is our bug, not the user's. */
export function resolveDefaults(tree: unknown): Defaults {
  const file = defaultsFile.parse(tree);
  const rules = {} as Defaults;
  for (const name of RULE_NAMES) {
    const text = file[name];
    const rule: DefaultRule = {
      config: { enabled: text.enabled, criteria: {}, constants: {} },
      judged: text.judged ?? true,
      dimensions: {},
    };
    for (const urgency of URGENCIES) {
      const one = text.levels[urgency];
      if (one !== undefined) addDefault(rule, urgency, urgency, one);
    }
    for (const [way, one] of Object.entries(text.also ?? {})) addDefault(rule, way, one.urgency, one);
    for (const [constant, value] of Object.entries(text.constants ?? {})) {
      const [dimension, per] = constantDimension(constant);
      rule.config.constants[constant] = must(parseQuantity(value, dimension)) / per;
    }
    if (text.enabled && Object.keys(rule.config.criteria).length === 0) throw new Error(`${name}: on, but no level`);
    if (text.enabled && !rule.judged) throw new Error(`${name}: on, but not judged`);
    rules[name] = rule;
  }
  return rules;
}

function addDefault(rule: DefaultRule, name: string, urgency: Urgency, text: z.infer<typeof defaultLevel>): void {
  const value = (written: string) => (written === 'null' ? null : must(parseAnyQuantity(written)));
  const [raise, clear] = [value(text.raise), value(text.clear)];
  if ((text.of === undefined) === (text.raiseAfter === undefined))
    throw new Error(`${name}: of or raiseAfter, not both`);
  if (text.of === undefined && text.clearAfter === undefined) throw new Error(`${name}: clearAfter is missing`);
  if (clear !== null && raise?.dimension !== clear.dimension)
    throw new Error(`${name}: raise and clear differ in kind`);
  if (clear !== null && raise?.value === clear.value) throw new Error(`${name}: no room between raise and clear`);
  rule.dimensions[name] = raise?.dimension ?? null;
  rule.config.criteria[name] = {
    urgency,
    raise: raise?.value ?? null,
    clear: clear?.value ?? null,
    raiseAfterS: text.raiseAfter ?? 0,
    clearAfterS: text.clearAfter ?? 0,
    of: text.of === undefined ? null : must(parseOf(text.of)),
    basis: text.basis,
  };
}

function must<T>(parsed: Parsed<T>): T {
  if (parsed.complaint !== undefined) throw new Error(parsed.complaint.text);
  return parsed.value;
}

/** A rule as the truck file changes it. What is wrong goes to `findings`, with paths below `path`. */
export function mergeRule(
  rule: DefaultRule,
  name: RuleName,
  override: RuleOverride,
  path: readonly string[],
  findings: Finding[],
): RuleConfig {
  const merged = structuredClone(rule.config);
  if (override.enabled !== undefined) merged.enabled = override.enabled;
  if (override.enabled === true && !rule.judged) {
    const text = `this version does not judge ${name} yet`;
    findings.push({ path: [...path, 'enabled'], text, hint: 'leave it out' });
  }
  for (const group of ['levels', 'also'] as const) {
    const known = Object.keys(rule.config.criteria).filter((n) => isUrgency(n) === (group === 'levels'));
    for (const [criterion, text] of Object.entries(override[group] ?? {})) {
      const here = [...path, group, criterion];
      if (known.includes(criterion)) {
        merged.criteria[criterion] = mergeCriterion(rule, criterion, text, here, findings);
      } else {
        const hint = known.length === 0 ? `remove "${group}"` : suggest(criterion, known, 'it has');
        findings.push({ path: here, key: true, text: `${name} has no "${criterion}" under ${group}`, hint });
      }
    }
  }
  checkOrder(rule, merged, override, path, findings);
  for (const [constant, text] of Object.entries(override.constants ?? {})) {
    mergeConstant(merged, name, constant, text, [...path, 'constants', constant], findings);
  }
  return merged;
}

/** Levels that the defaults keep apart stay in order: a worse one is reached later than a lesser one. */
function checkOrder(
  rule: DefaultRule,
  merged: RuleConfig,
  override: RuleOverride,
  path: readonly string[],
  findings: Finding[],
): void {
  for (const [lesser, worse] of [
    ['plan', 'next-stop'],
    ['next-stop', 'pull-over'],
    ['plan', 'pull-over'],
  ] as const) {
    const dimension = rule.dimensions[lesser];
    if (dimension == null || dimension !== rule.dimensions[worse]) continue;
    const gap = (criteria: RuleConfig['criteria']) => criteria[worse]!.raise! - criteria[lesser]!.raise!;
    if (gap(rule.config.criteria) * gap(merged.criteria) >= 0) continue;
    const [a, b] = [merged.criteria[lesser]!.raise!, merged.criteria[worse]!.raise!];
    const [changed, other] = override.levels?.[lesser]?.raise === undefined ? [worse, lesser] : [lesser, worse];
    findings.push({
      path: [...path, 'levels', changed, 'raise'],
      or: [...path, 'levels', other, 'raise'],
      text: `${worse} at ${writeQuantity(b, dimension)} comes before ${lesser} at ${writeQuantity(a, dimension)}`,
      hint: 'change both, or this one less',
    });
  }
}

function mergeConstant(
  merged: RuleConfig,
  rule: RuleName,
  name: string,
  text: string,
  path: readonly string[],
  findings: Finding[],
): void {
  if (!Object.hasOwn(merged.constants, name)) {
    const known = Object.keys(merged.constants);
    const hint = known.length === 0 ? 'remove it' : suggest(name, known, 'it has');
    findings.push({ path, key: true, text: `${rule} has no constant "${name}"`, hint });
    return;
  }
  const [dimension, per] = constantDimension(name);
  const parsed = parseQuantity(text, dimension);
  if (parsed.complaint !== undefined) findings.push({ path, ...parsed.complaint });
  else if (parsed.value < 0)
    findings.push({ path, text: `"${text}" is less than nothing`, hint: 'write a value from 0 on' });
  else merged.constants[name] = parsed.value / per;
}

function mergeCriterion(
  rule: DefaultRule,
  name: string,
  text: LevelText,
  path: readonly string[],
  findings: Finding[],
): Criterion {
  const was = rule.config.criteria[name]!;
  const merged: Criterion = structuredClone(was);
  const dimension = rule.dimensions[name]!;
  for (const field of ['raise', 'clear'] as const) {
    const written = text[field];
    if (written === undefined) continue;
    if (was[field] === null) {
      const hint =
        field === 'clear' && was.raise !== null
          ? 'change clearAfter instead'
          : 'change how long or how often it must hold';
      findings.push({ path: [...path, field], key: true, text: `"${name}" has no ${field} value`, hint });
      continue;
    }
    const parsed = parseQuantity(written, dimension);
    if (parsed.complaint !== undefined) findings.push({ path: [...path, field], ...parsed.complaint });
    else merged[field] = parsed.value;
  }
  checkSides(was, merged, dimension, text, path, findings);
  if (text.of !== undefined && text.raiseAfter !== undefined) {
    findings.push({
      path: [...path, 'of'],
      key: true,
      text: '"of" and "raiseAfter" exclude each other',
      hint: 'keep one',
    });
  } else if (text.of !== undefined) {
    const parsed = parseOf(text.of);
    if (parsed.complaint !== undefined) findings.push({ path: [...path, 'of'], ...parsed.complaint });
    else if (was.of === null) findings.push({ path: [...path, 'of'], key: true, ...NOT_COUNTED });
    else merged.of = parsed.value;
  } else if (text.raiseAfter !== undefined) {
    if (was.of === null) merged.raiseAfterS = text.raiseAfter;
    else findings.push({ path: [...path, 'raiseAfter'], key: true, ...COUNTED });
  }
  if (text.clearAfter !== undefined) merged.clearAfterS = text.clearAfter;
  merged.basis = text.basis ?? basisOf(was, merged, dimension);
  return merged;
}

const NOT_COUNTED = {
  text: 'this level goes by time, not by count',
  hint: 'write raiseAfter, for example "raiseAfter: 60 s"',
};
const COUNTED = { text: 'this level goes by count, not by time', hint: 'write of, for example "of: 2 of 3"' };

/** Low limits clear above where they raise, high ones below; the default says which it is. Equal would flutter. */
function checkSides(
  was: Criterion,
  merged: Criterion,
  dimension: Dimension,
  text: LevelText,
  path: readonly string[],
  findings: Finding[],
): void {
  if (was.raise === null || was.clear === null || merged.raise === null || merged.clear === null) return;
  const low = was.clear > was.raise;
  if (low ? merged.clear > merged.raise : merged.clear < merged.raise) return;
  const field = text.clear === undefined ? 'raise' : 'clear';
  const [raise, clear] = [writeQuantity(merged.raise, dimension), writeQuantity(merged.clear, dimension)];
  const side = low ? 'above' : 'below';
  const room = writeQuantity(merged.raise + (was.clear - was.raise), dimension);
  const word = merged.clear === merged.raise ? 'at' : low ? 'below' : 'above';
  findings.push({
    path: [...path, field],
    or: [...path, 'raise'],
    text: `clear ${clear} lies ${word} raise ${raise}`,
    hint: `write a clear value ${side} ${raise}, for example "clear: ${room}"`,
  });
}

/** The source of a limit does not stand behind another number. */
function basisOf(was: Criterion, merged: Criterion, dimension: Dimension): string {
  if (was.raise === merged.raise && was.clear === merged.clear) return was.basis;
  if (was.raise === merged.raise) return `${was.basis}; clear: truck file`;
  return `truck file (default ${writeQuantity(was.raise!, dimension)}: ${was.basis})`;
}

const isUrgency = (name: string): boolean => (URGENCIES as readonly string[]).includes(name);
