import type { Check } from '../data.js';
import type { Tool } from './tools.js';

/** What to do by hand about one rule: in this order, the safest and cheapest first. */
export interface RuleChecks {
  checks: Check[];
  /** How to tell a bad sensor from a bad wheel, brake or air system; in general, of no case in particular. */
  sensorOrReal: string[];
}

/** `tool` null: eyes, ears and hands. */
export const check = (tool: Tool | null, text: string): Check => ({ do: text, tool });
