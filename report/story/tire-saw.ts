import { shown } from '../../config/show.js';
import type { Words } from '../data.js';
import { motionIn } from './motion.js';
import { moveOf } from './moves.js';
import { firstAt, pointsOf, seriesOf, within } from './series.js';
import { byGasLaw } from './tire-hints-heat.js';
import { heardMeanwhile, silenceOf } from './tire-hints-silent.js';
import { degreesApart, kpaApart, nameBeside, type TireScene } from './tire-scene.js';
import { atS, lengthS } from './window.js';
import { capital, counted, lasting, listed, number } from './wording.js';

/** Of the fall of this tire: so much others may move and still have stayed. */
const STAYED = 0.35;
const STAYED_KPA = 8;
const MOVED_C = 5;
const FILLED_KPA = 40;
/** Of the rise: what it grows warmer afterwards is none of it. */
const AGAIN_SHARE = 0.15;

/** How it fell, what its mates and its temperature did meanwhile, and whether it rose again. */
export function sawFall(t: TireScene): Words[] {
  const { fall, gathered, show, cold } = t;
  if (fall === null) return sawSteady(t);
  const seconds = lengthS(fall.toMs - fall.fromMs);
  const rate = (fall.kpa * 60) / seconds;
  const what = cold === null ? 'Pressure as sent' : 'Cold-equivalent pressure';
  return [
    [
      `${what} fell from ${shown(fall.fromKpa, 'kPa', show)} at `,
      { atS: atS(gathered, fall.fromMs) },
      ` to ${shown(fall.toKpa, 'kPa', show)} at `,
      { atS: atS(gathered, fall.toMs) },
      `: in ${lasting(seconds)}${seconds >= 60 ? `, ${shown(rate, 'kPa/min', show)}` : ''}.`,
    ],
    ...sawMates(t, fall.fromMs, fall.toMs, fall.kpa),
    ...sawTemperature(t, fall.fromMs, fall.toMs),
    ...sawRise(t, fall.toMs),
  ];
}

/** Without a fall: where it stood, against its target. */
export function sawSteady(t: TireScene): Words[] {
  const { air, cold, show, targetKpa } = t;
  if (air === null) return [['No pressure was heard of this tire in these minutes.']];
  const [low, high] = [Math.min(...(air.low ?? air.value)), Math.max(...(air.high ?? air.value))];
  const what = cold === null ? 'Pressure as sent' : 'Cold-equivalent pressure';
  const [a, b] = [shown(low, 'kPa', show), shown(high, 'kPa', show)];
  const range = a === b ? `stood at ${a}` : `stood between ${a} and ${b}`;
  const of =
    targetKpa === null
      ? ''
      : `, ${percent(low / targetKpa, high / targetKpa)} of its target of ${shown(targetKpa, 'kPa', show)}`;
  return [[`${what} ${range} in these minutes${of}.`]];
}

function percent(low: number, high: number): string {
  const [a, b] = [Math.round(low * 100), Math.round(high * 100)];
  return a === b ? `${a} %` : `${a} to ${b} %`;
}

/** What the other tires of the axle did between two instants. */
export function sawMates(t: TireScene, fromMs: number, toMs: number, ownKpa: number): Words[] {
  const { gathered, axleMates, cold, show, tire } = t;
  const quantity = cold === null ? 'pressure' : 'cold pressure';
  const moves = axleMates.flatMap((mate) => {
    const move = moveOf(pointsOf(gathered, mate, quantity, fromMs, toMs));
    return move === null ? [] : [{ mate, change: move.change }];
  });
  if (moves.length === 0)
    return axleMates.length === 0 ? [] : [['Of the other tires of this axle nothing was heard meanwhile.']];
  const limit = Math.max(STAYED_KPA, STAYED * ownKpa);
  const stayed = moves.filter(({ change }) => Math.abs(change) <= limit);
  const moved = moves.filter(({ change }) => Math.abs(change) > limit);
  const words: Words[] = [];
  if (stayed.length > 0) {
    const most = Math.max(...stayed.map(({ change }) => Math.abs(change)));
    const others = stayed.length === 1 ? 'other tire' : counted(stayed.length, 'other tire');
    const some = counted(stayed.length, 'other tire of this axle', 'other tires of this axle');
    const who = moved.length === 0 ? `The ${others} of this axle` : capital(some);
    words.push([`${who} stayed within ${kpaApart(most, show)} meanwhile.`]);
  }
  if (moved.length > 0) {
    const each = moved.map(
      ({ mate, change }) => `${nameBeside(mate, tire)} ${change < 0 ? 'fell' : 'rose'} by ${kpaApart(change, show)}`,
    );
    words.push([`${capital(listed(each))} in the same time.`]);
  }
  return words;
}

function sawTemperature(t: TireScene, fromMs: number, toMs: number): Words[] {
  const { celsius, raw, show } = t;
  if (celsius === null) return [['This sensor tells no temperature: pressure is shown as it was sent.']];
  const move = moveOf(within(celsius, fromMs, toMs));
  const start = raw === null ? Number.NaN : (within(raw, fromMs, toMs)?.value[0] ?? Number.NaN);
  if (move === null || Number.isNaN(start)) return [];
  if (Math.abs(move.change) < MOVED_C)
    return [[`Its temperature stayed within ${degreesApart(Math.max(1, move.change), show)}.`]];
  const byHeat = byGasLaw(start, move.from, move.to);
  const [way, sign] = move.change > 0 ? ['rose', 'more'] : ['fell', 'less'];
  return [
    [
      `Its temperature ${way} by ${degreesApart(move.change, show)}; by the gas law that alone makes ${kpaApart(byHeat, show)} ${sign} of the pressure as sent.`,
    ],
  ];
}

function sawRise(t: TireScene, afterMs: number): Words[] {
  const { air, show, gathered, scene } = t;
  const after = air === null ? null : within(air, afterMs, scene.toMs);
  if (after === null || after.value.length < 2) return [];
  const last = moveOf(after)!.to;
  if (last - after.value[0]! < FILLED_KPA) return [];
  const i = after.value.findIndex((v) => v >= last - AGAIN_SHARE * (last - after.value[0]!));
  const gap = after.atMs.findIndex((at, k) => k > 0 && k <= i && at - after.atMs[k - 1]! > after.gapMs);
  const unseen =
    gap > 0 ? ` It was not heard for ${lasting(lengthS(after.atMs[gap]! - after.atMs[gap - 1]!))} in between.` : '';
  return [
    [
      `Later it stood at ${shown(last, 'kPa', show)} again, from `,
      { atS: atS(gathered, after.atMs[i]!) },
      ` on.${unseen}`,
    ],
  ];
}

/** What the program itself measured when it first reached the worst level. */
export function sawJudged({ scene, gathered, show, targetKpa }: TireScene): Words[] {
  const event = scene.alert.events.find(({ draft }) => draft.change === 'raised') ?? scene.alert.events[0];
  const m = event?.draft.measured ?? null;
  if (event === undefined || m === null || !('unit' in m)) return [];
  const [from, to] = [m.low, m.high].map((v) => (v === undefined ? '' : shown(v, m.unit, show)));
  const range = from === '' || to === '' ? '' : ` (between ${from} and ${to})`;
  const share =
    m.unit === 'kPa' && targetKpa !== null ? `, ${Math.round((m.value / targetKpa) * 100)} % of target` : '';
  const limit = m.limit === undefined ? '' : `; the limit was ${shown(m.limit, m.unit, show)}`;
  return [
    [
      'At ',
      { atS: atS(gathered, event.atMs) },
      ` it was judged by its ${m.quantity}: ${shown(m.value, m.unit, show)}${range}${share}${limit}.`,
    ],
  ];
}

/** When it was last heard, how often until then, who was heard meanwhile, and when it came back. */
export function sawSilence(t: TireScene): Words[] {
  const { gathered, show, tire } = t;
  const silence = silenceOf(t);
  if (silence === null || silence.lastMs === null)
    return [['It was never heard before in these data.'], ...(silence?.nextMs ? [heardAgain(t, silence.nextMs)] : [])];
  const { points, lastMs, nextMs, intervalMs } = silence;
  const kpa = points.value[firstAt(points.atMs, lastMs)]!;
  const celsius = seriesOf(gathered, tire, 'temperature');
  const lastC = celsius === null ? Number.NaN : (celsius.value[firstAt(celsius.atMs, lastMs + 1) - 1] ?? Number.NaN);
  const warm = Number.isNaN(lastC) ? '' : ` and ${shown(lastC, '°C', show)}`;
  const often =
    intervalMs > 0 && points.low === undefined ? ` Until then it was heard every ${lasting(lengthS(intervalMs))}.` : '';
  const { heard, silent } = heardMeanwhile(t, silence);
  return [
    ['It was last heard at ', { atS: atS(gathered, lastMs) }, `, with ${shown(kpa, 'kPa', show)}${warm}.${often}`],
    ...(silent.length === 0
      ? []
      : [
          [
            `Of ${heard.length + silent.length} other tires ${number(heard.length)} ${heard.length === 1 ? 'was' : 'were'} heard meanwhile.`,
          ],
        ]),
    nextMs === null ? ['It was not heard again in these data.'] : heardAgain(t, nextMs, lastMs),
  ];
}

function heardAgain({ gathered, show, tire }: TireScene, nextMs: number, lastMs?: number): Words {
  const points = seriesOf(gathered, tire, 'pressure')!;
  const kpa = points.value[firstAt(points.atMs, nextMs)]!;
  const movingS = lastMs === undefined ? 0 : lengthS(motionIn(gathered, lastMs, nextMs).movingMs);
  const driven = movingS > 0 ? ` (${lasting(movingS)} of driving)` : '';
  const after = lastMs === undefined ? '' : `, after ${lasting(lengthS(nextMs - lastMs))}${driven}`;
  return ['It was heard again at ', { atS: atS(gathered, nextMs) }, `${after}, with ${shown(kpa, 'kPa', show)}.`];
}
