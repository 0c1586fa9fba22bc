import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { loadDefaults } from '../../config/load.js';
import { RULE_NAMES } from '../../config/resolved.js';

const MONITORS = new URL('../../daemon/monitors/', import.meta.url);
const source = readdirSync(MONITORS)
  .filter((file) => file.endsWith('.ts'))
  .map((file) => readFileSync(new URL(file, MONITORS), 'utf8'))
  .join('\n');

// A number that a truck file may set and that changes nothing would be a lie.
describe('constants of rules that are judged', () => {
  const defaults = loadDefaults();
  const judged = RULE_NAMES.filter((rule) => defaults[rule].judged);

  it.each(judged.map((rule) => [rule, Object.keys(defaults[rule].config.constants)] as const))(
    '%s: each is read by a monitor (%j)',
    (_rule, names) => {
      const unread = names.filter((name) => !source.includes(`'${name}'`) && !source.includes(`constants.${name}`));
      expect(unread).toEqual([]);
    },
  );
});
