import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { moveOf } from './moves.js';
import { peersOf } from './peers.js';
import { firstAt, type Points, pointsOf, seriesOf, valueBefore } from './series.js';
import { hintOf, type TireHint } from './tire-hints.js';
import { degreesApart, fallOf, kpaApart, type TireScene } from './tire-scene.js';
import { capital, counted } from './wording.js';

const KELVIN = 273.15;
const SEA_LEVEL_KPA = 101.325;
/** What the pressure of a tire would change by, if its air took the temperature on and none got out. kPa */
export const byGasLaw = (gaugeKpa: number, fromC: number, toC: number): number =>
  (gaugeKpa + SEA_LEVEL_KPA) * ((toC + KELVIN) / (fromC + KELVIN) - 1);

/** The hottest moment of the window, and how far it was above what the tire had before. */
function heating({ celsius, raw }: TireScene) {
  if (celsius === null || raw === null) return null;
  let hot = 0;
  for (let i = 1; i < celsius.value.length; i++) if (celsius.value[i]! > celsius.value[hot]!) hot = i;
  let cool = 0;
  for (let i = 1; i < hot; i++) if (celsius.value[i]! < celsius.value[cool]!) cool = i;
  const [fromMs, toMs] = [celsius.atMs[cool]!, celsius.atMs[hot]!];
  const pressureAt = (ms: number): number => near(raw, ms);
  const [fromKpa, toKpa] = [pressureAt(fromMs), pressureAt(toMs)];
  if (Number.isNaN(fromKpa) || Number.isNaN(toKpa)) return null;
  return { fromMs, toMs, fromC: celsius.value[cool]!, toC: celsius.value[hot]!, fromKpa, toKpa };
}

/** Median of the readings around an instant; NaN: none within a gap. */
function near({ atMs, value, gapMs }: Points, ms: number): number {
  const from = firstAt(atMs, ms - gapMs);
  const to = firstAt(atMs, ms + gapMs + 1);
  return medianInPlace(value.slice(from, to));
}

const HEATED_C = 25;
const FOLLOWED = 0.6;
const DID_NOT = 0.15;

/** Hot air has more pressure. A hot sensor alone does not change what a tire holds. */
export const pressureFollowedHeat: TireHint = (t) => {
  const h = heating(t);
  if (h === null || h.toC - h.fromC < HEATED_C) return null;
  const expected = byGasLaw(h.fromKpa, h.fromC, h.toC);
  const part = (h.toKpa - h.fromKpa) / expected;
  const warmer = `It grew ${degreesApart(h.toC - h.fromC, t.show)} warmer, which by the gas law makes ${kpaApart(expected, t.show)}`;
  if (part >= FOLLOWED)
    return hintOf(
      'real',
      `${warmer}; its pressure rose by ${kpaApart(h.toKpa - h.fromKpa, t.show)}. The air itself is hot.`,
    );
  if (part > DID_NOT || t.raw === null || fallOf(t.raw) !== null) return null;
  const rose = h.toKpa - h.fromKpa > 0 ? `rose by ${kpaApart(h.toKpa - h.fromKpa, t.show)} only` : 'did not rise';
  return hintOf(
    'unclear',
    `${warmer}; its pressure ${rose}. The sensor is hot and the air is not: heat at the rim, or a temperature that is wrong.`,
  );
};

const TWIN_C = 10;
const ALONE_C = 5;
const OWN_C = 20;

/** A brake or a bearing heats both tires of its end; a sensor or too little air only one. */
export const twinIsHotToo: TireHint = (t) => {
  const own = abovePeers(t, t.tire);
  const twin = twinOf(t.tire);
  if (twin === null || own === null || own.above < OWN_C) return null;
  const other = abovePeers(t, twin, own.atMs);
  if (other === null) return null;
  const name = twin.endsWith('outer') ? 'outer' : 'inner';
  if (other.above >= TWIN_C)
    return hintOf(
      'real',
      `The ${name} tire of the same end is ${degreesApart(other.above, t.show)} above its peers as well: two sensors agree that this wheel end is hot.`,
    );
  if (other.above > ALONE_C) return null;
  return hintOf(
    'unclear',
    `The ${name} tire of the same end is as warm as its peers: no brake heats one tire of two. Too little air in this one, or its sensor.`,
  );
};

const twinOf = (tire: string): string | null =>
  tire.endsWith('/outer')
    ? tire.replace('/outer', '/inner')
    : tire.endsWith('/inner')
      ? tire.replace('/inner', '/outer')
      : null;

/** How far a tire was above the median of its peers at its hottest, or at an instant. */
function abovePeers(
  { gathered, scene }: TireScene,
  tire: string,
  atMs?: number,
): { atMs: number; above: number } | null {
  const points = pointsOf(gathered, tire, 'temperature', scene.fromMs, scene.toMs);
  if (points === null) return null;
  let at = atMs;
  if (at === undefined) {
    let hot = 0;
    for (let i = 1; i < points.value.length; i++) if (points.value[i]! > points.value[hot]!) hot = i;
    at = points.atMs[hot]!;
  }
  const own = near(points, at);
  const peers = peersOf(gathered, tire).flatMap((peer) => {
    const all = seriesOf(gathered, peer, 'temperature');
    const value = all === null ? Number.NaN : valueBefore(all, at);
    return Number.isNaN(value) ? [] : [value];
  });
  return Number.isNaN(own) || peers.length < 3 ? null : { atMs: at, above: own - medianInPlace(peers) };
}

const LEAST_HEAT_C = 8;
const FITS = 0.7;
/** Two steps of a coarse sensor. */
const STAYS_KPA = 8;

/** What fell fits what the temperature makes of it: the air is still there. */
export const temperatureExplainsFall: TireHint = (t) => {
  const { raw, celsius, gathered, tire, scene, show, peers } = t;
  if (raw === null || celsius === null) return null;
  const [pressure, temperature] = [moveOf(raw), moveOf(celsius)];
  if (pressure === null || temperature === null || temperature.change > -LEAST_HEAT_C || pressure.change >= 0)
    return null;
  const expected = byGasLaw(pressure.from, temperature.from, temperature.to);
  const cold = moveOf(pointsOf(gathered, tire, 'cold pressure', scene.fromMs, scene.toMs));
  const isExplained = expected / pressure.change >= FITS && cold !== null && Math.abs(cold.change) <= STAYS_KPA;
  if (!isExplained || peers.length === 0) return null;
  return hintOf(
    'unclear',
    `Pressure as sent fell by ${kpaApart(pressure.change, show)} while the tire cooled by ${degreesApart(temperature.change, show)}; the gas law makes ${kpaApart(expected, show)} of that. No air is missing by these readings.`,
  );
};

const LOW_SHARE = 0.04;
const ALIKE_SHARE = 0.06;

/** All stand off their targets by about as much: the day's temperature, altitude, or how they were filled. */
export const othersStandSo: TireHint = ({ gathered, scene, targetKpa, cold, peers, show }) => {
  const own = moveOf(cold);
  if (own === null || targetKpa === null) return null;
  const share = own.to / targetKpa;
  const shares = peers.flatMap((peer) => {
    const move = moveOf(pointsOf(gathered, peer, 'cold pressure', scene.fromMs, scene.toMs));
    return move === null ? [] : [move.to / targetKpa];
  });
  if (shares.length < 3 || Math.abs(1 - share) < LOW_SHARE) return null;
  const alike = shares.filter(
    (other) =>
      Math.abs(other - share) <= ALIKE_SHARE && (1 - other) * (1 - share) > 0 && Math.abs(1 - other) >= LOW_SHARE,
  );
  if (alike.length * 4 < shares.length * 3) return null;
  return hintOf(
    'unclear',
    `${capital(counted(alike.length, 'tire'))} of the ${shares.length} that run like this one stand within ${kpaApart(ALIKE_SHARE * targetKpa, show)} of it: what they have in common is the day’s temperature or how they were filled.`,
  );
};
