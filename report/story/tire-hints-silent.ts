import { shown } from '../../config/show.js';
import { medianInPlace } from '../../daemon/monitors/arithmetic/median.js';
import { tiresOf } from './peers.js';
import { firstAt, type Points, pointsOf, seriesOf } from './series.js';
import { hintOf, type TireHint } from './tire-hints.js';
import { kpaApart, type TireScene } from './tire-scene.js';
import { atS } from './window.js';
import { capital, counted, lasting } from './wording.js';

const MIN_MS = 60_000;

/** The silence that an alert is about. lastMs null: it was never heard before; nextMs null: nor after. */
export interface Silence {
  points: Points;
  lastMs: number | null;
  nextMs: number | null;
  /** Usual time between its readings before, ms; 0: not known. */
  intervalMs: number;
}

/** null: nothing at all was heard of the tire. */
export function silenceOf({ gathered, tire, scene }: TireScene): Silence | null {
  const points = seriesOf(gathered, tire, 'pressure');
  const raise = scene.alert.events[0]?.atMs ?? scene.alert.fromMs;
  if (points === null) return null;
  const next = firstAt(points.atMs, raise + 1);
  const steps: number[] = [];
  for (let i = Math.max(1, next - 20); i < next; i++) steps.push(points.atMs[i]! - points.atMs[i - 1]!);
  return {
    points,
    lastMs: next > 0 ? points.atMs[next - 1]! : null,
    nextMs: points.atMs[next] ?? null,
    intervalMs: steps.length === 0 ? 0 : medianInPlace(steps),
  };
}

/** Tires that told something while this one was silent, and those that did not. */
export function heardMeanwhile(t: TireScene, silence: Silence): { heard: string[]; silent: string[] } {
  const from = (silence.lastMs ?? t.scene.fromMs) + 2 * MIN_MS;
  const to = Math.min(silence.nextMs ?? t.scene.toMs, t.scene.toMs);
  const others = tiresOf(t.gathered).filter((tire) => tire !== t.tire);
  const tells = (tire: string): boolean => {
    const points = seriesOf(t.gathered, tire, 'pressure');
    return points !== null && (points.atMs[firstAt(points.atMs, from)] ?? Number.POSITIVE_INFINITY) <= to;
  };
  return { heard: others.filter(tells), silent: others.filter((tire) => !tells(tire)) };
}

/** Never heard at all, while others were: no sensor may be there. */
export const neverHeard: TireHint = ({ gathered, tire, scene }) => {
  if (seriesOf(gathered, tire, 'pressure') !== null) return null;
  const others = tiresOf(gathered).filter((other) => other !== tire);
  const heard = others.filter((other) => pointsOf(gathered, other, 'pressure', scene.fromMs, scene.toMs) !== null);
  if (heard.length < 3) return null;
  return hintOf(
    'unclear',
    `${capital(counted(heard.length, 'other tire'))} of ${others.length} were heard in these minutes and this one never: a wheel without a sensor, a sensor that the receiver was not taught, or a wheel that this truck does not have.`,
  );
};

/** The others are heard through the same receiver. */
export const othersWereHeard: TireHint = (t) => {
  const silence = silenceOf(t);
  if (silence === null || silence.lastMs === null) return null;
  const { heard, silent } = heardMeanwhile(t, silence);
  if (heard.length < 3) return null;
  if (silent.length === 0)
    return hintOf(
      'sensor',
      `All ${heard.length} other tires were heard meanwhile: the receiver works, and this one sensor does not reach it.`,
    );
  const [unit] = t.tire.split('/');
  const together = silent.filter((tire) => tire.split('/')[0] === unit);
  if (together.length < 2) return null;
  return hintOf(
    'unclear',
    `${capital(counted(together.length, 'other tire'))} of the ${unit} ${together.length === 1 ? 'was' : 'were'} not heard either: a receiver, an antenna or its wiring, rather than one sensor.`,
  );
};

const FALL_KPA = 20;
const BEFORE_MS = 10 * MIN_MS;

/** A sensor that dies with its tire. */
export const fellBeforeSilence: TireHint = (t) => {
  const silence = silenceOf(t);
  if (silence === null || silence.lastMs === null || silence.points.low !== undefined) return null;
  const { atMs, value } = silence.points;
  const last = firstAt(atMs, silence.lastMs);
  const first = firstAt(atMs, silence.lastMs - BEFORE_MS);
  const fell = Math.max(...value.slice(first, last + 1)) - value[last]!;
  if (last - first < 3 || fell < FALL_KPA) return null;
  return hintOf(
    'real',
    `Its pressure had fallen by ${kpaApart(fell, t.show)} in the ${lasting((silence.lastMs - atMs[first]!) / 1000)} before it fell silent: look at the tire first.`,
  );
};

/** Heard again at half of what it had, or less: no weather makes that. */
const GONE_SHARE = 0.5;

/** The tire lost its air while its sensor was not heard. */
export const airWasGone: TireHint = (t) => {
  const silence = silenceOf(t);
  if (silence === null || silence.lastMs === null || silence.nextMs === null) return null;
  const { atMs, value } = silence.points;
  const [last, next] = [value[firstAt(atMs, silence.lastMs)]!, value[firstAt(atMs, silence.nextMs)]!];
  if (next > GONE_SHARE * last) return null;
  return hintOf(
    'real',
    `When it was heard again, at `,
    { atS: atS(t.gathered, silence.nextMs) },
    `, it told ${shown(next, 'kPa', t.show)} instead of ${shown(last, 'kPa', t.show)}: the air was gone. Look at the tire first.`,
  );
};

const WATCH_MS = 30 * MIN_MS;
const LOST_SHARE = 0.3;
const OTHERS_SHARE = 0.15;

/** It lost many more readings than others before. */
export const lostReadingsBefore: TireHint = (t) => {
  const { alert } = t.scene;
  // What a tire loses that is empty is not the sensor's fault.
  const before = Math.min(alert.fromMs, t.fall?.fromMs ?? alert.fromMs);
  const toMs = alert.rule === 'tire-sensor-silent' ? (silenceOf(t)?.lastMs ?? null) : before;
  if (toMs === null) return null;
  const share = (tire: string): number => lostShare(seriesOf(t.gathered, tire, 'pressure'), toMs - WATCH_MS, toMs);
  const own = share(t.tire);
  const others = t.peers.map(share).filter((lost) => !Number.isNaN(lost));
  if (!(own >= LOST_SHARE) || others.length < 3) return null;
  const usual = medianInPlace([...others]);
  if (usual > OTHERS_SHARE) return null;
  return hintOf(
    'sensor',
    `In the half hour before it lost ${Math.round(own * 100)} % of its readings, others like it ${Math.round(usual * 100)} %: a weak battery, or a bad place for its radio.`,
  );
};

/** Share of the readings that should have come at the sensor's own interval and did not; NaN with too few to tell. */
function lostShare(points: Points | null, fromMs: number, toMs: number): number {
  if (points === null || points.low !== undefined) return Number.NaN;
  const [from, to] = [firstAt(points.atMs, fromMs), firstAt(points.atMs, toMs + 1)];
  if (to - from < 20) return Number.NaN;
  const steps: number[] = [];
  for (let i = from + 1; i < to; i++) steps.push(points.atMs[i]! - points.atMs[i - 1]!);
  // The shortest quarter tells the interval of a sensor whose frames get lost.
  const interval = [...steps].sort((a, b) => a - b)[Math.floor(steps.length / 4)]!;
  if (interval <= 0) return Number.NaN;
  const expected = steps.reduce((sum, step) => sum + Math.min(10, Math.max(1, Math.round(step / interval))), 0);
  return 1 - steps.length / expected;
}
