import { stoodBetween } from './motion.js';
import { isStep, largestStep } from './moves.js';
import { hintOf, type TireHint } from './tire-hints.js';
import { kpaApart } from './tire-scene.js';
import { atS } from './window.js';
import { lasting } from './wording.js';

/** A shop's hose gives a truck tire some 100 kPa a minute (common practice): a fifth of this between two readings. */
const RISE_KPA = 80;
const RISE_APART_MS = 20_000;

/** It came back at one stroke: air that was lost does not, and a hose takes minutes. */
export const roseInOneStep: TireHint = ({ raw, gathered, show }) => {
  if (raw === null || raw.low !== undefined) return null;
  const step = largestStep(raw, 1);
  if (step === null || step.apartMs > RISE_APART_MS || step.after - step.before < RISE_KPA) return null;
  if (!isStep(raw, step)) return null;
  const moved = stoodBetween(gathered, step.atMs - step.apartMs, step.atMs) ? '' : ', least of all on the road';
  return hintOf(
    'sensor',
    `At `,
    { atS: atS(gathered, step.atMs) },
    ` it rose by ${kpaApart(step.after - step.before, show)} between two readings ${lasting(step.apartMs / 1000)} apart and stayed there: no hose fills a tire so fast${moved}.`,
  );
};
