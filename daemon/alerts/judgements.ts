import type { RuleName, TruckConfig } from '../../config/resolved.js';
import { Judgement, type SubjectState } from './judgement.js';
import { RULES } from './rules.js';

/**
 * The judgements of all rules that are on, in the order of the rule table. states: by rule, then subject; stays part of the
 * pipeline's state. isJudged: may the rule be judged on the subject?
 */
export function judgementsOf(
  rules: TruckConfig['rules'],
  states: Record<string, Record<string, SubjectState>>,
  isJudged: (rule: RuleName, subject: string) => boolean,
): Judgement[] {
  return RULES.filter(({ name }) => rules[name].enabled).map((rule) => {
    states[rule.name] ??= {};
    return new Judgement(rule, rules[rule.name], states[rule.name]!, (subject) => isJudged(rule.name, subject));
  });
}
