import type { TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { STROKE } from '../../daemon/monitors/brake-state.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Words } from '../data.js';
import type { Gathered } from '../gathered.js';
import { applicationsIn } from './brake-applications.js';
import { type Heat, heatOf, releasedSaying } from './brake-facts.js';
import { hints } from './brake-hints.js';
import { otherSide } from './brake-results.js';
import { atS, capital, lasting, showOf, spanOf, tiresOf, type Window, wheelEndOf } from './kit.js';
import { motionIn } from './motion.js';
import type { Scene } from './picture.js';

/** Rims pass their heat on slowly: the tires are hottest some time after the brake went free. */
const AFTER_MS = 10 * 60_000;
/** Its delay of ten seconds, and what came shortly before. */
const BEFORE_MS = 60_000;
/** So much more than at the other side is heat of the brake; so little after so long a drive is none. °C, s */
const WARMER_C = 10;
const ALIKE_C = 3;
const LONG_S = 600;

/** The stretch in which it dragged, and in which heat can have come of it. */
function windowOf({ gathered, alert }: Scene): Window {
  const span = spanOf(gathered);
  const toMs = alert.toMs === null ? span.toMs : Math.min(span.toMs, alert.toMs + AFTER_MS);
  return { fromMs: Math.max(span.fromMs, alert.fromMs - BEFORE_MS), toMs };
}

export function dragWords(scene: Scene): Words[] {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const window = windowOf(scene);
  const words: Words[] = [];
  const measured = alert.events[0]?.draft.measured ?? null;
  if (measured !== null && 'quantity' in measured && measured.limit !== undefined)
    words.push([
      `With the brakes released the rod stood at ${shown(measured.value, 'mm', show)}; it rests at ${shown(measured.limit - (alert.constants.aboveRestMm ?? 0), 'mm', show)}.`,
    ]);
  const released = releasedSaying(gathered, alert.subject, STROKE.dragging, {
    ...window,
    toMs: alert.toMs ?? window.toMs,
  });
  if (released !== null && released.saying > 0)
    words.push([
      `With the brakes released "dragging" was told in ${released.saying} of ${released.readings} readings, from `,
      { atS: atS(gathered, released.firstMs) },
      ' to ',
      { atS: atS(gathered, released.lastMs) },
      '.',
    ]);
  const moved = movedSeconds(scene);
  if (moved > 0) words.push([`Meanwhile the truck moved for ${lasting(moved)}.`]);
  return [...words, ...heatWords(scene, heatsOf(scene))];
}

/** Heat at this wheel end, and at one that does not drag: the other side of the axle, else the others in the middle. */
interface Heats {
  own: Heat | null;
  other: Heat | null;
  /** Of the other: "those of tractor axle 2, right brake". */
  whose: string;
}

function heatsOf(scene: Scene): Heats {
  const window = windowOf(scene);
  const { gathered, alert } = scene;
  const own = heatOf(gathered, alert.subject, window);
  const across = otherSide(alert.subject);
  if (!isDragging(scene, across)) {
    const other = heatOf(gathered, across, window);
    if (other !== null) return { own, other, whose: `those of ${placeOf(across)}` };
  }
  const others = [...new Set(tiresOf(gathered).map(wheelEndOf))].filter(
    (end) => end !== alert.subject && !isDragging(scene, end),
  );
  const heats = others.map((end) => heatOf(gathered, end, window)).filter((heat) => heat !== null);
  heats.sort((a, b) => riseOf(a) - riseOf(b));
  const other = heats.length < LEAST_OTHERS ? null : heats[heats.length >> 1]!;
  return { own, other, whose: `those of the other ${heats.length} wheel ends that did not drag, in the middle,` };
}

const LEAST_OTHERS = 2;
const riseOf = ({ startC, hottestC }: Heat): number => hottestC - startC;

/** Has the wheel end an alert of the same rule that touches the window? */
function isDragging({ gathered, alert }: Scene, subject: string): boolean {
  const { fromMs, toMs } = windowOf({ gathered, alert, fromMs: 0, toMs: 0 });
  return gathered.events.some(
    ({ atMs, draft }) =>
      draft.rule === alert.rule && draft.subject === subject && atMs - draft.sinceAgoMs <= toMs && atMs >= fromMs,
  );
}

function heatWords({ gathered }: Scene, { own, other, whose }: Heats): Words[] {
  if (own === null) return [['No tire temperature is known at this wheel end, so heat confirms nothing.']];
  const show = showOf(gathered);
  const rise = ({ startC, hottestC }: Heat): string => `${shown(startC, '°C', show)} to ${shown(hottestC, '°C', show)}`;
  const beside = other === null ? '' : `, ${whose} from ${rise(other)}`;
  return [[`The tires at this wheel end went from ${rise(own)}${beside}.`]];
}

/** How long the truck moved while the alert was open. */
const movedSeconds = ({ gathered, alert }: Scene): number =>
  motionIn(gathered, alert.fromMs, alert.toMs ?? spanOf(gathered).toMs).movingMs / 1000;

export function dragHints(scene: Scene): Hint[] {
  return hints(heatHint(scene), bothHint(scene));
}

function heatHint(scene: Scene): Hint | null {
  const { own, other } = heatsOf(scene);
  if (own === null || other === null) return null;
  const { gathered } = scene;
  const more = riseOf(own) - riseOf(other);
  const show = showOf(gathered);
  const moved = movedSeconds(scene);
  if (more >= WARMER_C) {
    return {
      points: 'real',
      words: [
        `The tires here grew ${degrees(more, show)} warmer than those of brakes that did not drag: heat confirms that this one does.`,
      ],
    };
  }
  if (moved < LONG_S || more > ALIKE_C) return null;
  return {
    points: 'sensor',
    words: [
      `After ${lasting(moved)} of driving the tires here were no warmer than those of brakes that did not drag: one that drags makes heat.`,
    ],
  };
}

/** Both sides at the same moment have a common reason. */
const TOGETHER_MS = 60_000;

function bothHint({ gathered, alert }: Scene): Hint | null {
  const other = gathered.events.find(
    ({ atMs, draft }) =>
      draft.rule === alert.rule &&
      draft.subject === otherSide(alert.subject) &&
      (draft.change === 'raised' || draft.change === 'reopened') &&
      Math.abs(atMs - alert.fromMs) <= TOGETHER_MS,
  );
  if (other === undefined) return null;
  return {
    points: 'real',
    words: [
      `${capital(placeOf(otherSide(alert.subject)))} began to drag at the same moment, at `,
      { atS: atS(gathered, other.atMs) },
      ': look at what both share, air that stays on the axle, its valve or the parking brake, before either brake.',
    ],
  };
}

/** So often the brakes have to be pressed hard until heat says anything. */
const LEAST_USES = 10;

/** A brake that does not act makes no heat where the other side does. */
export function coolHint(gathered: Gathered, subject: string, window: Window): Hint | null {
  const uses = applicationsIn(gathered, window).filter(({ values }) => values.qualifying).length;
  const [own, other] = [heatOf(gathered, subject, window), heatOf(gathered, otherSide(subject), window)];
  if (own === null || other === null || uses < LEAST_USES || riseOf(other) < WARMER_C) return null;
  const less = riseOf(other) - riseOf(own);
  const show = showOf(gathered);
  if (less >= WARMER_C)
    return {
      points: 'real',
      words: [
        `In ${uses} applications the tires of the other side grew ${degrees(riseOf(other), show)} warmer and those here ${degrees(Math.max(0, riseOf(own)), show)}: heat confirms that this brake does little.`,
      ],
    };
  if (less > ALIKE_C) return null;
  return {
    points: 'sensor',
    words: [
      `In ${uses} applications the tires of both sides grew warmer alike, by some ${degrees(riseOf(own), show)}: a brake that does not act makes no heat.`,
    ],
  };
}

const degrees = (celsius: number, show: TruckConfig['show']): string =>
  show.temperature === '°F' ? `${Math.round(celsius * 1.8)} °F` : `${Math.round(celsius)} °C`;
