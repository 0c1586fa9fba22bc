import { RULE_WORDS } from '../../../daemon/alerts/words.js';

const KNOWN: Readonly<Record<string, string>> = RULE_WORDS;

/** What a rule says of its subject; of one that this page does not know, its own name. */
export const ruleWords = (rule: string): string => KNOWN[rule] ?? rule.replaceAll('-', ' ');

/** How an alert ended, or what changed, in words. */
const CHANGE_WORDS: Record<string, string> = {
  raised: 'raised',
  worse: 'got worse',
  better: 'got better',
  unsure: 'became unsure',
  sure: 'sure again',
  chattering: 'comes and goes',
  taken: 'taken',
  snoozed: 'snoozed',
  resumed: 'given back',
  reopened: 'came back',
  cleared: 'measured good again',
  closed: 'closed, not measured good',
};

const REASON_WORDS: Record<string, string> = {
  'unit-gone': 'its unit is no longer coupled',
  'position-changed': 'the tire sits elsewhere',
  'rule-changed': 'its limits were changed',
  'sensor-replaced': 'the sensor was replaced',
  'said-repaired': 'somebody said that it is repaired',
  'marked-bad': 'somebody called its sensor bad',
};

export const changeWords = ({ change, reason }: { change: string; reason?: string | undefined }): string =>
  `${CHANGE_WORDS[change] ?? change}${reason === undefined ? '' : `: ${REASON_WORDS[reason] ?? reason}`}`;
