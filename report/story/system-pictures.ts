import type { RuleName } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Plot, Words } from '../data.js';
import { faultCode, stopLamp } from './fault-pictures.js';
import {
  atS,
  capital,
  firstAt,
  lasting,
  lineOf,
  listed,
  plotOf,
  plotsOf,
  seriesOf,
  showOf,
  spanOf,
  valueBefore,
} from './kit.js';
import { motionPlot } from './motion-plot.js';
import type { Depict, Scene } from './picture.js';
import { type Silences, silencesAt, toldWords } from './system-facts.js';

/** When it fell silent: the event tells how long ago that was. */
function silentSince({ alert }: Scene): number {
  const first = alert.events[0];
  const measured = first?.draft.measured ?? null;
  if (first === undefined || measured === null || !('silentS' in measured)) return alert.fromMs;
  return first.atMs - measured.silentS * 1000;
}

/** What is silent for less is late. */
const LEAST_MS = 10_000;
/** More groups than these are no sentence. */
const MOST_GROUPS = 6;

const groups = (list: Silences['silent'] | Silences['heard']): string => {
  const words = toldWords(list);
  return words.length > MOST_GROUPS
    ? `${words.slice(0, MOST_GROUPS).join(', ')} and ${words.length - MOST_GROUPS} more`
    : listed(words);
};

/** Engine speed at an instant, or the last that was told before; NaN: none. */
function lastOf({ gathered }: Scene, quantity: 'speed' | 'engine speed', atMs: number): number {
  const points = seriesOf(gathered, 'tractor', quantity);
  if (points === null) return Number.NaN;
  const i = firstAt(points.atMs, atMs + 1) - 1;
  return i < 0 || atMs - points.atMs[i]! > 60_000 ? Number.NaN : points.value[i]!;
}

function truckWords(scene: Scene, atMs: number): Words[] {
  const show = showOf(scene.gathered);
  const parts: string[] = [];
  const [kmh, rpm] = [lastOf(scene, 'speed', atMs), lastOf(scene, 'engine speed', atMs)];
  if (!Number.isNaN(kmh)) parts.push(`the truck drove at ${shown(kmh, 'km/h', show)}`);
  if (!Number.isNaN(rpm)) parts.push(`the engine ran at ${shown(Math.round(rpm), 'rpm', show)}`);
  return parts.length === 0 ? [] : [[`Just before, ${parts.join(' and ')}.`]];
}

const sourceSilent: Depict = (scene) => {
  const { gathered, alert } = scene;
  const since = silentSince(scene);
  const silences = silencesAt(gathered, since, LEAST_MS);
  const { silent, heard } = silences;
  const again = silent.map(({ nextMs }) => nextMs).filter((ms) => ms !== null);
  const saw: Words[] = [[`${capital(alert.place)} was last heard at `, { atS: atS(gathered, since) }, '.']];
  if (silent.length > 0) saw.push([`With it fell silent: ${groups(silent)}.`]);
  if (heard.length > 0) saw.push([`Went on: ${groups(heard)}.`]);
  saw.push(...truckWords(scene, since));
  if (again.length > 0)
    saw.push(['The first of it was heard again at ', { atS: atS(gathered, Math.min(...again)) }, '.']);
  else if (silent.length > 0) saw.push(['None of it was heard again in these data.']);
  return { plots: plotsOf(motionPlot(scene), ...silentPlots(scene, silences)), saw, hints: sourceHints(silences) };
};

function sourceHints({ silent, heard }: Silences): Hint[] {
  if (silent.length === 0 || heard.length === 0) return [];
  return [
    {
      points: 'sensor',
      words: [
        'Others went on at that moment: it is this control unit, its supply or its connection. Of what it watches nothing is known meanwhile, good or bad.',
      ],
    },
  ];
}

/** Readings that fell silent, a few of the same kind. */
const MOST_LINES = 4;

function silentPlots(scene: Scene, { silent }: Silences): (Plot | null)[] {
  const first = silent.find(({ quantity }) => quantity === 'pressure' || quantity === 'stroke state');
  if (first === undefined) return [];
  const isState = first.quantity === 'stroke state';
  const alike = silent.filter(({ quantity }) => quantity === first.quantity).slice(0, MOST_LINES);
  const lines = alike.map(({ subject, quantity }) =>
    lineOf(scene.gathered, subject, quantity, scene, { label: placeOf(subject), role: 'judged' }),
  );
  const axis = isState
    ? ({ unit: 'state', label: 'stroke state' } as const)
    : ({ unit: 'kPa', label: 'pressure' } as const);
  return [plotOf(scene, { title: 'Some of what fell silent', axes: [axis], lines })];
}

const busSilent: Depict = (scene) => {
  const { gathered, alert } = scene;
  const since = silentSince(scene);
  const gap = gathered.gaps.find(({ fromMs, toMs }) => toMs >= since && fromMs <= alert.fromMs);
  const saw: Words[] = [
    [
      `${capital(alert.place)}: nothing of interest was heard from `,
      { atS: atS(gathered, since) },
      ' on, while the truck was moving.',
    ],
  ];
  if (gap !== undefined)
    saw.push([
      `Nothing at all came from `,
      { atS: atS(gathered, gap.fromMs) },
      ' to ',
      { atS: atS(gathered, gap.toMs) },
      `, for ${lasting((gap.toMs - gap.fromMs) / 1000)}.`,
    ]);
  saw.push(...truckWords(scene, since));
  const hint = gap === undefined ? null : backHint(scene, since, gap.toMs);
  return { plots: plotsOf(motionPlot(scene)), saw, hints: hint === null ? [] : [hint] };
};

/** It takes a moment until the first speeds are told. */
const BACK_MS = 10_000;
const RUNNING_RPM = 400;
const ALIKE_KMH = 30;

/** How did the truck come back? An engine that ran all the time says that only the connection was gone. */
function backHint(scene: Scene, sinceMs: number, backMs: number): Hint | null {
  const { gathered } = scene;
  const rpm = seriesOf(gathered, 'tractor', 'engine speed');
  const speed = seriesOf(gathered, 'tractor', 'speed');
  if (rpm === null || speed === null || backMs >= spanOf(gathered).toMs) return null;
  const at = (points: NonNullable<typeof rpm>): number => {
    const i = firstAt(points.atMs, backMs - 1_000);
    return i < points.atMs.length && points.atMs[i]! - backMs <= BACK_MS ? points.value[i]! : Number.NaN;
  };
  const [rpmBack, kmhBack] = [at(rpm), at(speed)];
  const kmhBefore = valueBefore(speed, sinceMs);
  if (Number.isNaN(rpmBack) || Number.isNaN(kmhBack)) return null;
  const show = showOf(gathered);
  if (rpmBack >= RUNNING_RPM && Math.abs(kmhBack - kmhBefore) <= ALIKE_KMH && kmhBack > 5)
    return {
      points: 'sensor',
      words: [
        `It came back with the engine running and the truck still moving at ${shown(kmhBack, 'km/h', show)}: the truck was well, and the connection to its bus was gone.`,
      ],
    };
  if (rpmBack < RUNNING_RPM)
    return {
      points: 'unclear',
      words: ['It came back with the engine at rest: it may have been switched off, or all supply was gone.'],
    };
  return null;
}

const busOff: Depict = (scene) => {
  const { gathered, alert } = scene;
  const first = alert.events[0];
  const measured = first?.draft.measured ?? null;
  const since = alert.fromMs;
  const silences = silencesAt(gathered, since, LEAST_MS);
  const what = measured !== null && 'text' in measured ? `: ${measured.text}` : '';
  const saw: Words[] = [
    [`The controller of ${alert.place} told errors${what}, at `, { atS: atS(gathered, since) }, '.'],
  ];
  if (silences.silent.length > 0) saw.push([`At that moment fell silent: ${groups(silences.silent)}.`]);
  else if (silences.heard.length > 0)
    saw.push(['Messages were heard in spite of it: nothing fell silent at that moment.']);
  saw.push(...truckWords(scene, since));
  return { plots: plotsOf(motionPlot(scene)), saw, hints: [] };
};

/** What each rule on fault codes and on the bus has to show. */
export const SYSTEM_PICTURES: Partial<Record<RuleName, Depict>> = {
  'fault-code': faultCode,
  'stop-lamp': stopLamp,
  'bus-silent': busSilent,
  'bus-off': busOff,
  'source-silent': sourceSilent,
};
