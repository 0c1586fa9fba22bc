import { shown } from '../../config/show.js';
import { STROKE, STROKE_TEXT } from '../../daemon/monitors/brake-state.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Words } from '../data.js';
import type { Gathered } from '../gathered.js';
import { brakeApplications } from './brake-applications.js';
import { releasedSaying } from './brake-facts.js';
import { type CountingRule, constantOf, otherSide, type Result, resultsOf, type Way } from './brake-results.js';
import { atS, isStep, largestStep, moveOf, type Points, showOf, type Window } from './kit.js';

const hint = (points: Hint['points'], ...words: Words): Hint => ({ points, words });
export const hints = (...list: (Hint | null)[]): Hint[] => list.filter((x) => x !== null);

/** Fewer than these show no pattern. */
const LEAST = 2;
/** A few readings while released are frames that came late. */
const LEAST_RELEASED = 10;

/** A released brake has no stroke that could be too long. */
export function releasedHint(gathered: Gathered, subject: string, window: Window): Hint | null {
  const released = releasedSaying(gathered, subject, STROKE.overStroke, window);
  if (released === null || released.saying < LEAST_RELEASED) return null;
  return hint(
    'sensor',
    `Over-stroke was told with the brakes released too: in ${released.saying} of ${released.readings} readings, first at `,
    { atS: atS(gathered, released.firstMs) },
    '. A released brake has no stroke that could be too long: look at the sensor and its linkage.',
  );
}

/** A stroke grows with pressure: what is only there when the brakes are pressed lightly is none. */
export function pressureHint(gathered: Gathered, results: readonly Result[]): Hint | null {
  // What was before the first of them and after the last is of a sound brake.
  const between = results.slice(
    results.findIndex(({ holds }) => holds),
    results.findLastIndex(({ holds }) => holds) + 1,
  );
  const peaks = (holds: boolean): number[] =>
    between.filter((r) => r.holds === holds).flatMap(({ application: { values } }) => values.peakKpa ?? []);
  const [bad, good] = [peaks(true), peaks(false)];
  if (bad.length < LEAST || good.length < LEAST) return null;
  const show = showOf(gathered);
  const say = (kpa: number): string => shown(kpa, 'kPa', show);
  if (Math.max(...bad) < Math.min(...good))
    return hint(
      'sensor',
      `Only light applications showed it: ${bad.length} up to ${say(Math.max(...bad))}, while all ${good.length} from ${say(Math.min(...good))} on were good. A stroke that is too long is longer still under more pressure.`,
    );
  if (Math.min(...bad) > Math.max(...good))
    return hint(
      'real',
      `Every application from ${say(Math.min(...bad))} on showed it (${bad.length}) and none up to ${say(Math.max(...good))} (${good.length}): as a stroke does that grows with pressure.`,
    );
  return null;
}

/** What is told for one single frame of a long application is more often a frame than a brake. */
export function singleFrameHint(results: readonly Result[]): Hint | null {
  const holding = results.filter(({ holds }) => holds);
  const isSingle = ({ readings }: Result): boolean => readings !== null && readings.told >= 3 && readings.saying === 1;
  if (holding.length < LEAST || !holding.every(isSingle)) return null;
  return hint('sensor', `It was one single reading in each of the ${holding.length} applications.`);
}

/** What other brakes told in the same applications. */
export function togetherHint(
  gathered: Gathered,
  rule: CountingRule,
  subject: string,
  way: Way,
  results: readonly Result[],
): Hint | null {
  const holding = results.filter(({ holds }) => holds);
  if (holding.length < LEAST) return null;
  const code = rule === 'brake-overstroke' ? STROKE.overStroke : STROKE.notFunctioning;
  if (way === 'state') {
    const { ends, alike } = alikeIn(holding, code);
    if (ends >= 4 && alike > ends / 2)
      return hint(
        'sensor',
        `In the same applications ${alike} of ${ends} brakes were told to be ${STROKE_TEXT[code]}: that points to what they share, the sender or the air, and not to one brake.`,
      );
  }
  const moments = new Set(holding.map(({ application }) => application));
  const other = resultsOf(gathered, rule, otherSide(subject), way).filter((r) => moments.has(r.application));
  const together = other.filter(({ holds }) => holds).length;
  if (together < LEAST || together * 3 < holding.length * 2) return null;
  const place = placeOf(otherSide(subject));
  const words = `The other side of the axle (${place}) showed the same in ${together} of these ${holding.length} applications: `;
  return rule === 'brake-not-applying'
    ? hint('real', `${words}look at what both share, the air to the axle and its valve, before either brake.`)
    : hint('unclear', `${words}look at what both share, the sender, air and valve, before either brake.`);
}

/** Brakes that told anything in all of these applications, and how many of them told this code in most. */
function alikeIn(holding: readonly Result[], code: number): { ends: number; alike: number } {
  const told = new Map<string, { told: number; saying: number }>();
  for (const { application } of holding) {
    for (const [subject, wheel] of Object.entries(application.values.wheels)) {
      if (wheel.code === null) continue;
      const count = told.get(subject) ?? { told: 0, saying: 0 };
      count.told++;
      if (wheel.code === code) count.saying++;
      told.set(subject, count);
    }
  }
  const alike = [...told.values()].filter(({ told: n, saying }) => saying * 3 >= n * 2);
  return { ends: told.size, alike: alike.length };
}

/** A stroke that goes up by less than this has neither jumped nor grown. mm */
const LEAST_MM = 4;
const LEAST_POINTS = 8;
/** So much of a change in one step is no growth. */
const GROWTH_STEP_SHARE = 0.5;

/**
 * Did the stroke jump between two applications, or did it grow? Held against the other side of the axle, as strokes go with
 * pressure and heat.
 */
export function growthHint(gathered: Gathered, subject: string, untilMs: number): Hint | null {
  const points: Points = { atMs: [], value: [], gapMs: Number.POSITIVE_INFINITY };
  const across = otherSide(subject);
  for (const { startMs, values } of brakeApplications(gathered)) {
    const own = values.wheels[subject]?.strokeMm ?? null;
    const other = values.wheels[across]?.strokeMm ?? null;
    if (!values.qualifying || own === null || other === null || startMs > untilMs) continue;
    points.atMs.push(startMs);
    points.value.push(own - other);
  }
  if (points.atMs.length < LEAST_POINTS) return null;
  const move = moveOf(points);
  const step = largestStep(points, 1);
  if (move === null || step === null || move.change < LEAST_MM) return null;
  const show = showOf(gathered);
  const by = shown(move.change, 'mm', show);
  if (isStep(points, step))
    return hint(
      'unclear',
      `Against the other side of the axle its stroke jumped by ${shown(step.after - step.before, 'mm', show)} between two applications, at `,
      { atS: atS(gathered, step.atMs) },
      ': something broke or moved at once. Look at pin, clevis and adjuster, and at the bracket of the sensor.',
    );
  if (step.after - step.before > GROWTH_STEP_SHARE * move.change) return null;
  return hint(
    'real',
    `Against the other side of the axle its stroke grew by ${by} over ${points.atMs.length} applications, without a jump: as it does when an adjuster does not keep up.`,
  );
}

/** Of two strokes that differ the short one may be the wrong one: a brake that does not move at all. */
export function shortSideHint(gathered: Gathered, subject: string, results: readonly Result[]): Hint | null {
  const leastMm = constantOf(gathered, 'brake-not-applying', 'minStrokeMm');
  const holding = results.filter(({ holds }) => holds);
  const other = holding.flatMap(({ application }) => application.values.wheels[otherSide(subject)]?.strokeMm ?? []);
  if (holding.length < LEAST || other.length < holding.length) return null;
  const most = Math.max(...other);
  if (!(most < leastMm)) return null;
  return hint(
    'real',
    `It is the other side (${placeOf(otherSide(subject))}) that does not move: ${shown(most, 'mm', showOf(gathered))} at most in these ${holding.length} applications. Look there.`,
  );
}
