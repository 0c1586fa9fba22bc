import { describe, expect, it } from 'vitest';
import { URGENCIES } from '../../../config/resolved.js';
import { adviceFor } from '../../../daemon/alerts/advice.js';
import { RULES } from '../../../daemon/alerts/rules.js';
import { truckOf } from '../../support/truck-file.js';

const config = truckOf();
const pairs = RULES.flatMap(({ name }) =>
  URGENCIES.filter((urgency) => Object.values(config.rules[name].criteria).some((c) => c.urgency === urgency)).map(
    (urgency) => [name, urgency] as const,
  ),
);
const ANY = adviceFor('test-message', 'raised', 'pull-over');

describe('advice', () => {
  it('every rule that is on is judged, and the other way round', () => {
    const on = Object.entries(config.rules).flatMap(([name, rule]) => (rule.enabled ? [name] : []));
    expect(RULES.map((r) => r.name).sort()).toEqual(on.sort());
  });

  it.each(pairs)('%s at %s has words of its own, short and in plain characters', (rule, urgency) => {
    const advice = adviceFor(rule, 'raised', urgency);
    expect(advice).not.toBe(ANY);
    expect(advice).toMatch(/^[\x20-\x7e]{20,160}$/);
    expect(adviceFor(rule, 'unsure', urgency)).toContain(advice);
    for (const change of ['cleared', 'closed'] as const) expect(adviceFor(rule, change, urgency)).not.toContain(advice);
  });

  it('never tells to let air out of a hot tire, nor just to readjust a brake (T-43, B-39)', () => {
    for (const urgency of ['next-stop', 'pull-over'] as const)
      expect(adviceFor('tire-hot', 'raised', urgency)).toMatch(/not let air out/);
    expect(adviceFor('brake-overstroke', 'raised', 'next-stop')).toMatch(/do not just readjust/);
  });

  it('says stop to pull-over and nothing of the kind to plan', () => {
    for (const [rule, urgency] of pairs) {
      const advice = adviceFor(rule, 'raised', urgency);
      if (urgency === 'pull-over')
        expect([rule, advice]).toEqual([rule, expect.stringMatching(/[Ss]top as soon as|do not drive|stop/)]);
      if (urgency === 'plan') expect([rule, advice]).toEqual([rule, expect.not.stringMatching(/[Ss]top as soon/)]);
    }
  });
});
