import type { RuleName } from '../../config/resolved.js';
import type { Hint } from '../data.js';
import { hintOf } from './tire-hints.js';
import type { TireScene } from './tire-scene.js';

const SLOW =
  'These readings do not tell a slow loss of air from a sensor that drifts: both look like this. A gauge decides.';
const SILENT = 'Too few readings lie in these minutes to tell a fault from a sensor that is off. A gauge decides.';

const FAST = 'These readings do not tell a loss of air from a sensor that is off. A gauge decides.';
/** No sensor drifts so fast, and no leak of this rate is slow. */
const FAST_KPA_PER_MIN = 2;

/** By rule, where the pressure did not fall within the window. */
const STEADY: Partial<Record<RuleName, string>> = {
  'tire-losing-air': SLOW,
  'tire-underinflated':
    'These readings do not tell too little air from a sensor that reads low: both look like this. A gauge decides.',
  'tire-overinflated':
    'These readings do not tell too much air from a sensor that reads high: both look like this. A gauge decides.',
  'duals-unequal':
    'These readings do not tell a pair of unequal air from a sensor that is off: both look like this. A gauge on both tires decides.',
  'tires-off-target':
    'These readings do not tell tires that all need air from targets that do not fit, weather, or a receiver that is off. A gauge on a few cold tires decides.',
};

/** What there is, or, where nothing speaks, that nothing does: the reader must not take silence for an answer. */
export function orUnclear(hints: Hint[], rule: RuleName, tires: readonly TireScene[], leastKpa = 0): Hint[] {
  if (hints.length > 0) return hints;
  if (tires.length > 0 && tires.every(({ air }) => air === null)) return [hintOf('unclear', SILENT)];
  const falls = tires.flatMap(({ fall }) => (fall !== null && fall.kpa >= leastKpa ? [fall] : []));
  const isFast = falls.some(({ kpa, fromMs, toMs }) => kpa >= (FAST_KPA_PER_MIN * (toMs - fromMs)) / 60_000);
  const didFall = rule !== 'tire-overinflated' && falls.length > 0;
  const words = didFall ? (isFast ? FAST : SLOW) : STEADY[rule];
  return words === undefined ? [] : [hintOf('unclear', words)];
}
