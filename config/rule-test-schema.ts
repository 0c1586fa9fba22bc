import { z } from 'zod';
import { RULE_NAMES, URGENCIES } from './resolved.js';
import { QUANTITY_NAMES } from './rule-test-quantities.js';
import { map, word, words } from './scalars.js';

/** The file of user tests as it is written (docs/rule-tests.md). Scalars whose meaning hangs on others are text here. */

const MOST_TESTS = 500;
const MOST_SERIES = 100;
/** As in daemon/alerts/event.ts, which the configuration does not reach. */
export const CHANGE_WORDS = [
  ...(['raised', 'worse', 'better', 'unsure', 'sure', 'chattering', 'taken', 'snoozed', 'resumed'] as const),
  ...(['reopened', 'cleared', 'closed'] as const),
] as const;

export const GIVEN_TRUCK = [
  ...(['speed', 'engine', 'parkingBrake', 'brakeSwitch', 'pedal', 'brakePressure'] as const),
  ...(['ambient', 'barometer', 'compressor', 'traffic'] as const),
] as const;

const given = map({
  ...(Object.fromEntries(GIVEN_TRUCK.map((name) => [name, words(32).optional()])) as Record<
    (typeof GIVEN_TRUCK)[number],
    z.ZodOptional<z.ZodType<string>>
  >),
  tires: words(32).optional(),
  temperatures: words(32).optional(),
  air: words(32).optional(),
  brakes: words(32).optional(),
  tireMessage: word(['TIRE1', 'TIRE2']).optional(),
});

const series = map({
  subject: words(64),
  quantity: word(QUANTITY_NAMES),
  values: z.array(words(80)).min(1).max(10_000),
  every: words(16).optional(),
  from: words(16).optional(),
});

const expectation = map({
  rule: word(RULE_NAMES),
  subject: words(64),
  change: word(CHANGE_WORDS).optional(),
  urgency: word(URGENCIES).optional(),
  at: words(16).optional(),
  within: words(16).optional(),
});

const test = map({
  name: words(160),
  given: given.optional(),
  series: z.array(series).max(MOST_SERIES).optional(),
  for: words(16).optional(),
  rules: z
    .preprocess((written) => (written === 'all' ? [...RULE_NAMES] : written), z.array(word(RULE_NAMES)).min(1))
    .optional(),
  expect: z.preprocess((written) => (written === 'none' ? [] : written), z.array(expectation).max(1000)),
});

export const FILE = map({
  truck: words(256).optional(),
  given: given.optional(),
  tests: z.array(test).min(1).max(MOST_TESTS),
});

export type GivenText = z.output<typeof given>;
export type TestText = z.output<typeof test>;
export type SeriesText = z.output<typeof series>;
export type ExpectText = z.output<typeof expectation>;

/** What a missing entry could look like, by its last key. */
export const EXAMPLES: Record<string, string> = {
  tests: 'tests: [{name: a healthy truck, expect: none}]',
  name: 'name: low at 90 % is told',
  expect: 'expect: none',
  values: 'values: [690 kPa x6, 620 kPa x66]',
  subject: 'subject: tractor/2/left/outer',
  quantity: 'quantity: pressure',
  rule: 'rule: tire-underinflated',
  series: 'series: [{subject: truck, quantity: speed, values: [80 km/h]}]',
};
