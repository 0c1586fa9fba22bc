import { shown } from '../../config/show.js';
import type { Change } from '../../daemon/alerts/event.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import type { Hint, Words } from '../data.js';
import type { Gathered } from '../gathered.js';
import { stoodBetween } from './motion.js';
import { isStep, largestStep, moveOf, slopeOf } from './moves.js';
import { wheelEndOf } from './peers.js';
import { pointsOf, within } from './series.js';
import { degreesApart, kpaApart, type TireScene } from './tire-scene.js';
import { atS } from './window.js';
import { capital, counted, lasting } from './wording.js';

/*
 * What speaks for a bad sensor, for a real fault or for neither, out of the readings alone. Each says what was seen, and none
 * speaks where little was: bounds are common practice, chosen well beyond what sensors' steps (4 kPa) and the road do.
 */
export type TireHint = (t: TireScene) => Hint | null;

export const hintOf = (points: Hint['points'], ...words: Words): Hint => ({ points, words });

const MIN_MS = 60_000;
const STEP_KPA = 20;
/** Two readings further apart than this may have a leak between them. */
const STEP_APART_MS = 40_000;
const AFTER_READINGS = 6;
const STAYS_KPA = 8;

/**
 * Did it fall at one stroke and then stay where no tire stays? Air that has begun to go at such a rate goes on. A burst ends at
 * nothing and is none.
 */
export const fellInOneStep: TireHint = ({ raw, gathered, show }) => {
  if (raw === null || raw.low !== undefined) return null;
  const step = largestStep(raw, -1);
  if (step === null || step.apartMs > STEP_APART_MS || step.before - step.after < STEP_KPA) return null;
  const after = raw.value.slice(raw.atMs.indexOf(step.atMs)).slice(0, AFTER_READINGS);
  const stays = after.length === AFTER_READINGS && Math.max(...after) - Math.min(...after) <= STAYS_KPA;
  if (!stays || !isStep(raw, step) || step.after < step.before / 2) return null;
  const apart = lasting(step.apartMs / 1000);
  return hintOf(
    'sensor',
    `At `,
    { atS: atS(gathered, step.atMs) },
    ` it fell by ${kpaApart(step.before - step.after, show)} between two readings ${apart} apart and then stayed there. Air that leaks as fast goes on leaking.`,
  );
};

const SPIKE_KPA = 40;
const SPIKES = 2;

/** A reading far off both of its neighbours, which agree: no tire does so. */
export const jumps: TireHint = ({ raw, show }) => {
  if (raw === null || raw.low !== undefined) return null;
  const { atMs, value, gapMs } = raw;
  let spikes = 0;
  let most = 0;
  for (let i = 1; i + 1 < value.length; i++) {
    if (atMs[i + 1]! - atMs[i - 1]! > 2 * gapMs) continue;
    const off = value[i]! - (value[i - 1]! + value[i + 1]!) / 2;
    if (Math.abs(off) < SPIKE_KPA || Math.abs(value[i + 1]! - value[i - 1]!) > STAYS_KPA) continue;
    spikes++;
    most = Math.max(most, Math.abs(off));
  }
  if (spikes < SPIKES) return null;
  return hintOf(
    'sensor',
    `${capital(counted(spikes, 'time'))} a single reading stood up to ${kpaApart(most, show)} off its neighbours, which agreed. Air cannot do that.`,
  );
};

const LINE_MS = 4 * MIN_MS;
const LINE_READINGS = 12;
const LINE_MINUTES = 6;
const LINE_STEP_SHARE = 0.4;
/** Slower, a sensor that drifts looks the same. */
const LINE_KPA_PER_MIN = 2;

/** Of the fall: so much must be of the pressure as sent as well, which grows with heat (as the detector has it), and of this tire alone. */
const BOTH_SHARE = 1 / 3;
const OWN_SHARE = 0.7;

/**
 * Reading by reading, as air goes: raw pressure too, or it is a sensor that grows hot; and its peers did not, or it is what cools
 * them all.
 */
export const fellAlongALine: TireHint = (t) => {
  const { fall, air, raw, show } = t;
  if (fall === null || air === null || raw === null || fall.toMs - fall.fromMs < LINE_MS) return null;
  const isFine = air.low === undefined;
  const points = within(air, fall.fromMs, fall.toMs);
  const slope = slopeOf(points);
  const least = isFine ? LINE_READINGS : LINE_MINUTES;
  if (points === null || slope === null || points.value.length < least || slope.high >= 0) return null;
  const sent = moveOf(within(raw, fall.fromMs, fall.toMs));
  const alone = fall.kpa - Math.max(0, -peersMoved(t, fall.fromMs, fall.toMs));
  if (sent === null || -sent.change < BOTH_SHARE * fall.kpa || alone < OWN_SHARE * fall.kpa) return null;
  const step = largestStep(points, -1);
  const isFast = alone / ((fall.toMs - fall.fromMs) / MIN_MS) >= LINE_KPA_PER_MIN;
  if (!isFast || step === null || step.before - step.after > LINE_STEP_SHARE * fall.kpa) return null;
  return hintOf(
    'real',
    `Pressure fell ${isFine ? 'reading by reading' : 'minute by minute'} along a line, ${kpaApart(fall.kpa, show)} in ${lasting((fall.toMs - fall.fromMs) / 1000)}, as air does that leaks. A sensor that fails jumps, repeats itself, falls silent or drifts over hours.`,
  );
};

/** Median move of the peers' pressure, kPa; 0 where fewer than three are heard. */
function peersMoved({ gathered, cold, peers }: TireScene, fromMs: number, toMs: number): number {
  const quantity = cold === null ? 'pressure' : 'cold pressure';
  const moves = peers.flatMap((peer) => moveOf(pointsOf(gathered, peer, quantity, fromMs, toMs))?.change ?? []);
  return moves.length < MATES_LEAST ? 0 : medianInPlace(moves);
}

const PARKED_MS = 5 * MIN_MS;
const PARKED_KPA_PER_MIN = 0.7;

/** It went on while the truck stood, where no road and no brake heats. Raw and cold-equivalent pressure must say so. */
export const fellWhileStanding: TireHint = (t) => {
  const { fall, gathered, raw, cold, show } = t;
  if (fall === null || raw === null || raw.low !== undefined || cold === null) return null;
  const stop = longestStop(t, fall.fromMs, fall.toMs);
  if (stop === null) return null;
  const slopes = [raw, cold].map((points) => slopeOf(within(points, ...stop)));
  if (slopes.some((slope) => slope === null || slope.high > -PARKED_KPA_PER_MIN)) return null;
  const rate = shown(-slopes[1]!.perMin, 'kPa/min', show);
  return hintOf(
    'real',
    `It went on falling while the truck stood for ${lasting((stop[1] - stop[0]) / 1000)} from `,
    { atS: atS(gathered, stop[0]) },
    `, by ${rate}: neither road nor brakes heat a tire then.`,
  );
};

function longestStop({ gathered, raw }: TireScene, fromMs: number, toMs: number): [number, number] | null {
  let best: [number, number] | null = null;
  let since: number | null = null;
  const points = within(raw!, fromMs, toMs);
  for (let i = 1; points !== null && i < points.atMs.length; i++) {
    const [a, b] = [points.atMs[i - 1]!, points.atMs[i]!];
    if (b - a > points.gapMs || !stoodBetween(gathered, a, b)) since = null;
    else {
      since ??= a;
      if (b - since >= PARKED_MS && (best === null || b - since > best[1] - best[0])) best = [since, b];
    }
  }
  return best;
}

const MATES_LEAST = 3;
const ALIKE = 0.6;

/** Most of the others moved as much: what they have in common is not this wheel. */
export const othersFellToo: TireHint = (t) => {
  const { fall, gathered, cold, peers, show } = t;
  if (fall === null) return null;
  const quantity = cold === null ? 'pressure' : 'cold pressure';
  const moves = peers.flatMap((peer) => moveOf(pointsOf(gathered, peer, quantity, fall.fromMs, fall.toMs)) ?? []);
  const alike = moves.filter(({ change }) => -change >= ALIKE * fall.kpa);
  if (moves.length < MATES_LEAST || alike.length * 4 < moves.length * 3) return null;
  const least = Math.min(...alike.map(({ change }) => -change));
  return hintOf(
    'unclear',
    `${capital(counted(alike.length, 'tire'))} of the ${moves.length} that run like this one fell by ${kpaApart(least, show)} or more at the same time: weather, altitude or the receiver, rather than this wheel.`,
  );
};

const REPEAT_MS = 10 * MIN_MS;
const REPEAT_READINGS = 30;
const PEERS_MOVED_KPA = 16;
const PEERS_MOVED_C = 4;

/** The same pressure and temperature again and again while those of others moved. */
export const repeatsItself: TireHint = (t) => {
  const { raw, celsius, gathered, peers, show } = t;
  if (raw === null || raw.low !== undefined) return null;
  const run = longestRepeat(raw.atMs, raw.value);
  if (run.readings < REPEAT_READINGS || run.toMs - run.fromMs < REPEAT_MS) return null;
  const own = celsius === null ? null : within(celsius, run.fromMs, run.toMs);
  if (own !== null && Math.max(...own.value) !== Math.min(...own.value)) return null;
  const quantity = own === null ? 'pressure' : 'temperature';
  const ranges = peers.flatMap((peer) => {
    const points = pointsOf(gathered, peer, quantity, run.fromMs, run.toMs);
    return points === null ? [] : [Math.max(...points.value) - Math.min(...points.value)];
  });
  const moved = ranges.filter((range) => range >= (own === null ? PEERS_MOVED_KPA : PEERS_MOVED_C));
  if (ranges.length < MATES_LEAST || moved.length * 4 < ranges.length * 3) return null;
  const least = Math.min(...moved);
  const others = own === null ? kpaApart(least, show) : degreesApart(least, show);
  return hintOf(
    'sensor',
    `It told ${own === null ? 'the same pressure' : 'the same pressure and temperature'} ${run.readings} times in a row, for ${lasting((run.toMs - run.fromMs) / 1000)} from `,
    { atS: atS(gathered, run.fromMs) },
    `, while others like it moved by ${others} or more.`,
  );
};

function longestRepeat(atMs: readonly number[], value: readonly number[]) {
  let best = { readings: 0, fromMs: 0, toMs: 0 };
  let from = 0;
  for (let i = 1; i <= value.length; i++) {
    if (i < value.length && value[i] === value[from]) continue;
    if (i - from > best.readings) best = { readings: i - from, fromMs: atMs[from]!, toMs: atMs[i - 1]! };
    from = i;
  }
  return best;
}

const EARLIER_MS = 60 * MIN_MS;
const SENSOR_RULES = {
  'tire-sensor-silent': 'had been silent',
  'tire-sensor-fault': 'had reported a fault of its own',
} as const;

/** The same sensor was in trouble in the hour before, or is. */
export const sensorWasInTrouble: TireHint = ({ scene, gathered, tire }) => {
  for (const [rule, words] of Object.entries(SENSOR_RULES)) {
    const event = gathered.events.find(
      ({ atMs, draft }) =>
        draft.rule === rule &&
        draft.subject === tire &&
        rule !== scene.alert.rule &&
        draft.change === 'raised' &&
        atMs >= scene.alert.fromMs - EARLIER_MS &&
        atMs <= scene.alert.fromMs,
    );
    if (event !== undefined)
      // Silence may also be that of a sensor that went with its tire.
      return hintOf(
        rule === 'tire-sensor-silent' ? 'unclear' : 'sensor',
        `At `,
        { atS: atS(gathered, event.atMs) },
        ` this sensor ${words}.`,
      );
  }
  return null;
};

/** When an alert was over; beyond all data where it was not. */
function endOf(gathered: Gathered, id: string): number {
  const isEnd = (change: Change): boolean => change === 'cleared' || change === 'closed';
  const end = gathered.events.findLast(({ alert, draft }) => alert === id && isEnd(draft.change));
  return end?.atMs ?? Number.POSITIVE_INFINITY;
}

/** A brake of the same wheel end that dragged while this alert was open, or in the half hour before: rims stay hot for long. */
export const brakeWasHot: TireHint = ({ scene, gathered, tire }) => {
  const end = wheelEndOf(tire);
  const until = scene.alert.toMs ?? scene.toMs;
  const event = gathered.events.find(
    ({ atMs, alert, draft }) =>
      draft.rule === 'brake-dragging' &&
      draft.subject === end &&
      draft.change === 'raised' &&
      endOf(gathered, alert) >= scene.alert.fromMs - EARLIER_MS / 2 &&
      atMs <= until,
  );
  if (event === undefined) return null;
  const isHeat = scene.alert.rule === 'tire-hot';
  return hintOf(
    isHeat ? 'real' : 'unclear',
    `The brake of this wheel end dragged from `,
    { atS: atS(gathered, event.atMs) },
    isHeat
      ? ' on: there is heat for this tire to take up.'
      : ' on: a sensor on a hot rim makes cold-equivalent pressure read low. Judge this tire again when it is cold.',
  );
};
