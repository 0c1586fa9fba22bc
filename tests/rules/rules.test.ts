import { readdirSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { RULE_NAMES } from '../../config/resolved.js';
import { loadRuleTests } from '../../config/rule-tests.js';
import { runRuleTest } from '../../daemon/commands/rule-tests.js';

/** The limits of the project, stated as engineers state theirs. */
describe.each(readdirSync('tests/rules').filter((name) => name.endsWith('.yaml')))('%s', (name) => {
  const { tests, problems } = loadRuleTests(`tests/rules/${name}`);

  it('holds', () => {
    expect(problems ?? []).toEqual([]);
    expect(new Set(tests!.tests.map((test) => test.name)).size).toBe(tests!.tests.length);
  });

  it.each(tests?.tests ?? [])(
    '$name',
    async (test) => {
      expect(await runRuleTest(test, tests!.truck)).toEqual({ missing: [], unexpected: [] });
    },
    30_000,
  );

  it('each rule that has a test which tells it has one in which it says nothing', () => {
    const told = new Set(tests!.tests.flatMap(({ expect: all }) => all.map(({ rule }) => rule)));
    const silent = new Set(
      tests!.tests.filter(({ expect: all }) => all.length === 0).flatMap(({ rules }) => rules ?? [...RULE_NAMES]),
    );
    expect([...told].filter((rule) => !silent.has(rule))).toEqual([]);
    expect(told.size).toBeGreaterThan(3);
  });
});
