import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Words } from '../data.js';
import type { Gathered } from '../gathered.js';
import { type Fall, fallOf, rangeOf, useOf } from './air-facts.js';
import { CIRCUITS, SUPPLY } from './air-plots.js';
import { airCycles, airTests, hasPassed } from './air-records.js';
import { atS, largestStep, lasting, pointsOf, showOf, type Window } from './kit.js';
import type { GatheredAlert } from './picture.js';

const hint = (points: Hint['points'], ...words: Words): Hint => ({ points, words });

/** A smaller fall is the steps of the senders. kPa */
const LEAST_KPA = 24;
/** Falls that are so much alike have one reason; a circuit that falls so much less has none of it. */
const ALIKE = 0.7;
const ALONE = 0.3;

/** Do both circuits fall alike, or one only? */
export function circuitsHint(gathered: Gathered, window: Window): Hint | null {
  const falls = CIRCUITS.map((circuit) => fallOf(gathered, circuit, window));
  const [first, second] = falls as [Fall | null, Fall | null];
  if (first === null || second === null) return null;
  const [more, less] = first.fallKpa >= second.fallKpa ? [first, second] : [second, first];
  if (more.fallKpa < LEAST_KPA) return null;
  const show = showOf(gathered);
  const by = ({ fallKpa }: Fall): string => shown(fallKpa, 'kPa', show);
  if (less.fallKpa >= ALIKE * more.fallKpa)
    return hint(
      'real',
      `Both circuits fell alike, by ${by(more)} and ${by(less)}: two sensors agree, and the reason is common to both, on the supply side (compressor, governor, dryer, supply line, what hangs on both).`,
    );
  if (less.fallKpa > ALONE * more.fallKpa) return null;
  const step = suddenHint(gathered, more.circuit, window);
  if (step !== null) return step;
  return hint(
    'real',
    `Only the ${placeOf(more.circuit)} fell, by ${by(more)}, while the other lost ${by({ ...less, fallKpa: Math.max(0, less.fallKpa) })}: look at that circuit, its reservoir, lines and check valve, and hold a gauge to it, as one sensor alone says so.`,
  );
}

/** No reservoir empties so fast. kPa, ms */
const SUDDEN_KPA = 150;
const SUDDEN_MS = 2_500;

function suddenHint(gathered: Gathered, circuit: string, { fromMs, toMs }: Window): Hint | null {
  const points = pointsOf(gathered, circuit, 'pressure', fromMs, toMs);
  if (points === null || points.low !== undefined) return null;
  const step = largestStep(points, -1);
  if (step === null || step.before - step.after < SUDDEN_KPA || step.apartMs > SUDDEN_MS) return null;
  return hint(
    'sensor',
    `The ${placeOf(circuit)} fell by ${shown(step.before - step.after, 'kPa', showOf(gathered))} from one reading to the next, at `,
    { atS: atS(gathered, step.atMs) },
    ', and the other circuit did not: no reservoir empties so fast.',
  );
}

/** So much of a fall that came with applications is use. */
const USE_SHARE = 0.85;

/** Did it fall with applications only? */
export function useHint(gathered: Gathered, circuit: string, window: Window): Hint | null {
  const use = useOf(gathered, circuit, window);
  if (use === null || use.pressedKpa < LEAST_KPA) return null;
  if (use.pressedKpa < USE_SHARE * (use.pressedKpa + use.otherKpa)) return null;
  const show = showOf(gathered);
  return hint(
    'unclear',
    `It fell with brake applications, by ${shown(use.pressedKpa, 'kPa', show)} in all, and by ${shown(use.otherKpa, 'kPa', show)} between them: air was used faster than it was made, which is no leak.`,
  );
}

/** Two senders of one circuit disagree. */
export function disputedHint({ events }: GatheredAlert): Hint | null {
  const disputed = events.some(
    ({ draft: { measured } }) => measured !== null && 'quality' in measured && measured.quality === 'disputed',
  );
  return disputed
    ? hint(
        'sensor',
        'The circuit has two senders, and they disagree; the lower one was judged. A gauge tells which of them is wrong.',
      )
    : null;
}

/** Pressure that comes back while the compressor pumps is air and no sensor. kPa, ms */
const BACK_KPA = 40;
const BACK_MS = 15 * 60_000;

/** Did pressure come back in step with the compressor? Both circuits have to. */
export function backHint(gathered: Gathered, { toMs }: GatheredAlert, fromMs: number): Hint | null {
  const untilMs = toMs ?? fromMs + BACK_MS;
  for (const { startMs, endMs } of airCycles(gathered)) {
    const window = { fromMs: Math.max(startMs, fromMs), toMs: endMs };
    if (endMs <= fromMs || startMs > untilMs) continue;
    const falls = CIRCUITS.map((circuit) => fallOf(gathered, circuit, window));
    if (!falls.every((fall) => fall !== null && fall.fallKpa <= -BACK_KPA)) continue;
    const [a, b] = falls as [Fall, Fall];
    const show = showOf(gathered);
    return hint(
      'real',
      'Both circuits came back while the compressor pumped, from ',
      { atS: atS(gathered, window.fromMs) },
      ` on, by ${shown(-a.fallKpa, 'kPa', show)} and ${shown(-b.fallKpa, 'kPa', show)}: they follow real air.`,
    );
  }
  return null;
}

/** While the compressor pumps a circuit that is fed goes up, and one that is not does not. kPa */
const FED_KPA = 40;
const UNFED_KPA = 8;

/** Does air come to one circuit only? Of the pumping within a window. */
export function unfedHint(gathered: Gathered, { fromMs, toMs }: Window): Hint | null {
  for (const { startMs, endMs } of airCycles(gathered)) {
    if (endMs <= fromMs || startMs >= toMs) continue;
    const falls = CIRCUITS.map((circuit) => fallOf(gathered, circuit, { fromMs: startMs, toMs: endMs }));
    const [first, second] = falls as [Fall | null, Fall | null];
    if (first === null || second === null) return null;
    const [fed, unfed] = first.fallKpa <= second.fallKpa ? [first, second] : [second, first];
    if (fed.fallKpa > -FED_KPA || unfed.fallKpa < -UNFED_KPA) continue;
    return hint(
      'real',
      'While the compressor pumped, from ',
      { atS: atS(gathered, startMs) },
      ` on, the ${placeOf(fed.circuit)} rose by ${shown(-fed.fallKpa, 'kPa', showOf(gathered))} and the ${placeOf(unfed.circuit)} did not rise: what is used of it does not come back. Look at its check valve and at the line that feeds it.`,
    );
  }
  return null;
}

/** A sensor that says the same while the other circuit moves by so much for so long. kPa, ms */
const MOVES_KPA = 60;
const STUCK_MS = 10 * 60_000;

/** Does one circuit stand still while the other moves? */
export function stuckHint(gathered: Gathered, window: Window): Hint | null {
  if (window.toMs - window.fromMs < STUCK_MS) return null;
  const ranges = CIRCUITS.map((circuit) => rangeOf(gathered, circuit, window));
  for (const [i, circuit] of CIRCUITS.entries()) {
    const other = ranges[1 - i]!;
    if (ranges[i] !== 0 || !(other >= MOVES_KPA)) continue;
    return hint(
      'sensor',
      `The ${placeOf(circuit)} told the same pressure for ${lasting((window.toMs - window.fromMs) / 1000)} while the other circuit moved by ${shown(other, 'kPa', showOf(gathered))}: a sensor that is stuck, or a circuit that is shut off.`,
    );
  }
  return null;
}

/** What leak tests say of a compressor that works too much or fills too slowly. */
export function testsHint(gathered: Gathered, untilMs: number): Hint | null {
  const tests = airTests(gathered).filter(({ endMs }) => endMs <= untilMs);
  if (tests.length === 0) return null;
  const show = showOf(gathered);
  const failed = tests.filter(({ values }) => !hasPassed(values));
  const worst = tests.reduce((a, b) =>
    b.values.kpaPerMin / b.values.limit > a.values.kpaPerMin / a.values.limit ? b : a,
  );
  const rate = `${shown(worst.values.kpaPerMin, 'kPa/min', show)} of ${shown(worst.values.limit, 'kPa/min', show)} allowed`;
  if (failed.length > 0)
    return hint(
      'real',
      `${failed.length} of ${tests.length} leak ${tests.length === 1 ? 'test' : 'tests'} failed (at worst ${rate}): look for the leak first.`,
    );
  return hint(
    'real',
    `${tests.length === 1 ? 'The one leak test' : `All ${tests.length} leak tests`} passed (at worst ${rate}): that speaks for what makes the air, the compressor, its intake and drive, or the dryer, and against a leak at standstill.`,
  );
}

/** A supply sender and the circuits behind it differ by no more than this when all is full. kPa */
const APART_KPA = 80;

/** Does the supply sender agree with the circuits behind it where the compressor ceased? Of all cycles that tell. */
export function supplyHint(gathered: Gathered): Hint | null {
  const apart: number[] = [];
  for (const { endMs, values } of airCycles(gathered)) {
    if (values.cutOutKpa === null) continue;
    const top = topAt(gathered, endMs);
    if (!Number.isNaN(top)) apart.push(values.cutOutKpa - top);
  }
  if (apart.length < 3) return null;
  const show = showOf(gathered);
  const least = Math.min(...apart.map(Math.abs));
  if (least >= APART_KPA)
    return hint(
      'sensor',
      `At each cut-out the supply was ${shown(least, 'kPa', show)} or more away from both circuits: hold a gauge to it before the governor is touched.`,
    );
  if (Math.max(...apart.map(Math.abs)) > APART_KPA) return null;
  const most = shown(Math.max(...apart.map(Math.abs)), 'kPa', show);
  return hint(
    'real',
    `The circuits agree: at each cut-out the fuller one was within ${most} of what the governor acts on.`,
  );
}

const SHORT_MS = 5_000;

/** The fuller circuit about an instant; NaN without a supply sender, as the governor is then judged by the circuits themselves. */
function topAt(gathered: Gathered, atMs: number): number {
  const window = [atMs - SHORT_MS, atMs + SHORT_MS] as const;
  if (pointsOf(gathered, SUPPLY, 'pressure', ...window) === null) return Number.NaN;
  const tops = CIRCUITS.flatMap((circuit) => pointsOf(gathered, circuit, 'pressure', ...window)?.value ?? []);
  return tops.length === 0 ? Number.NaN : Math.max(...tops);
}
