import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Plot, Words } from '../data.js';
import type { GatheredEvent } from '../gathered.js';
import { defective, shareLine } from './brake-defective.js';
import { growthHint, hints } from './brake-hints.js';
import { applicationSpans, heatPlot, statePlot, strokeLimits, strokePlot } from './brake-plots.js';
import { chamberOf, limitOf, otherSide } from './brake-results.js';
import {
  atS,
  counted,
  drawn,
  lasting,
  limitLines,
  listed,
  plotOf,
  plotsOf,
  seriesOf,
  showOf,
  spanOf,
  subjectsOf,
  valueBefore,
} from './kit.js';
import { numbersOf } from './measured.js';
import type { Depict, Scene } from './picture.js';

const DAY_MS = 86_400_000;
/** A forecast that lies further ahead is not drawn. */
const MOST_AHEAD_MS = 14 * DAY_MS;
/** Days without an application are weekends and workshops: the line goes on over them. */
const DAYS_GAP_MS = 28 * DAY_MS;

/** brake-stroke-growing: its points lie days before the data that were gathered. */
export const growing: Depict = (scene) => {
  const { gathered, alert } = scene;
  const plots = plotsOf(daysPlot(scene), strokePlot(scene, applicationSpans(scene), strokeLimits(scene, 0)));
  const until = alert.toMs ?? spanOf(gathered).toMs;
  return { plots, saw: growthWords(scene), hints: hints(growthHint(gathered, alert.subject, until)) };
};

const withPoints = ({ alert }: Scene): GatheredEvent | undefined =>
  alert.events.findLast(({ draft }) => (draft.evidence?.points.length ?? 0) > 0);

function daysPlot(scene: Scene): Plot | null {
  const event = withPoints(scene);
  if (event === undefined) return null;
  const { gathered } = scene;
  const { atMs, draft } = event;
  const { points } = draft.evidence!;
  const days = { atMs: points.map(([ago]) => atMs - ago), value: points.map(([, mm]) => mm), gapMs: DAYS_GAP_MS };
  const lines = [drawn(gathered, days, 'mm', { label: 'least stroke of each day', role: 'judged' })];
  const limitMm = limitOf(gathered, scene.alert.subject);
  let toMs = atMs;
  if (draft.forecast !== null && draft.forecast.inMs <= MOST_AHEAD_MS && !Number.isNaN(limitMm)) {
    toMs = atMs + draft.forecast.inMs;
    const ahead = { atMs: [days.atMs.at(-1)!, toMs], value: [days.value.at(-1)!, limitMm], gapMs: DAYS_GAP_MS };
    lines.push(drawn(gathered, ahead, 'mm', { label: 'as it has grown', role: 'context' }));
  }
  const plot = plotOf(
    { ...scene, fromMs: days.atMs[0]!, toMs },
    {
      title: 'Stroke by day, at pressures of the judged band',
      axes: [{ unit: 'mm', label: 'pushrod stroke' }],
      lines,
      limits: strokeLimits(scene, 0),
    },
  );
  return plot;
}

function growthWords(scene: Scene): Words[] {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const words: Words[] = [];
  const event = withPoints(scene) ?? alert.events[0];
  const measured = event === undefined ? null : numbersOf(event);
  if (event === undefined || measured === null) return words;
  const say = (value: number): string => shown(value, measured.unit, show);
  const range =
    measured.low === undefined || measured.high === undefined
      ? ''
      : ` (surely ${say(measured.low)} to ${say(measured.high)})`;
  words.push([`The least stroke of each day grew by ${say(measured.value)}${range}.`]);
  const points = event.draft.evidence?.points ?? [];
  if (points.length > 1) {
    const [first, last] = [points[0]!, points.at(-1)!];
    const days = Math.max(1, Math.round((first[0] - last[0]) / DAY_MS));
    words.push([
      `It went from ${shown(first[1], 'mm', show)} to ${shown(last[1], 'mm', show)} in ${counted(days, 'day')}.`,
    ]);
  }
  const chamber = chamberOf(gathered, alert.subject);
  if (chamber !== null)
    words.push([
      `Its chamber (type ${chamber.type}) may move by ${shown(limitOf(gathered, alert.subject), 'mm', show)}.`,
    ]);
  const { forecast } = event.draft;
  if (forecast !== null)
    words.push([
      `At this rate it comes to its limit in ${lasting(forecast.inMs / 1000)} (${lasting(forecast.fromMs / 1000)} to ${lasting(forecast.toMs / 1000)}).`,
    ]);
  return words;
}

/** brake-lining-low: told on request only, so that there is hardly more than what the events have. */
export const lining: Depict = (scene) => {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const told = alert.events.flatMap((event) => {
    const measured = numbersOf(event);
    return measured === null ? [] : [{ atMs: event.atMs, value: measured.value }];
  });
  const points = { atMs: told.map((x) => x.atMs), value: told.map((x) => x.value), gapMs: DAY_MS };
  const plot =
    told.length === 0
      ? null
      : plotOf(scene, {
          title: 'Lining left, as the brake controller said it when it was asked',
          axes: [{ unit: 'share', label: 'lining left' }],
          lines: [drawn(gathered, points, 'share', { label: placeOf(alert.subject), role: 'judged' })],
          limits: limitLines(scene, { axis: 0, unit: 'share' }),
        });
  const saw: Words[] =
    told.length === 0
      ? []
      : [
          [
            `The brake controller said that ${shown(told[0]!.value, 'share', show)} of the lining was left, at `,
            { atS: atS(gathered, told[0]!.atMs) },
            '.',
          ],
        ];
  const other = lastOf(scene, otherSide(alert.subject));
  if (other !== null) saw.push([`Of ${placeOf(otherSide(alert.subject))} it said ${shown(other, 'share', show)}.`]);
  return { plots: plotsOf(plot), saw, hints: [] };
};

function lastOf({ gathered, alert }: Scene, subject: string): number | null {
  const event = gathered.events.findLast(({ draft }) => draft.rule === alert.rule && draft.subject === subject);
  return event === undefined ? null : (numbersOf(event)?.value ?? null);
}

/** brakes-defective-share: which brakes were counted. */
export const share: Depict = (scene) => {
  const { gathered, alert } = scene;
  const show = showOf(gathered);
  const counts = defective(gathered);
  const fitted = subjectsOf(gathered).wheelEnds.length;
  const plot = plotOf(scene, {
    title: 'Brakes with a finding, of those fitted',
    axes: [{ unit: 'share', label: 'share of the brakes' }],
    lines: [shareLine(scene, counts, fitted)],
    limits: limitLines(scene, { axis: 0, unit: 'share' }),
  });
  const saw: Words[] = [];
  const first = alert.events[0];
  const at = counts.filter(({ fromMs, toMs }) => first !== undefined && fromMs <= first.atMs && toMs > first.atMs);
  const measured = first === undefined ? null : numbersOf(first);
  if (measured !== null) {
    const of = fitted > 0 ? ` of ${fitted}` : '';
    saw.push([
      `When it was raised, ${new Set(at.map((x) => x.subject)).size}${of} brakes had a finding at next stop or worse: ${shown(measured.value, 'share', show)}.`,
    ]);
  }
  for (const x of at) saw.push([`${x.place}: ${x.what}, since `, { atS: atS(gathered, x.fromMs) }, '.']);
  return { plots: plotsOf(plot), saw, hints: [] };
};

const SAME_MOMENT_MS = 60_000;

/** brake-sensor-fault: while the sensor is called faulty no state is told. */
export const sensorFault: Depict = (scene) => {
  const { gathered, alert } = scene;
  const states = seriesOf(gathered, alert.subject, 'stroke state');
  const before = states?.atMs.findLast((ms) => ms <= alert.fromMs);
  const saw: Words[] = [['The sender said of this brake that its sensor is faulty.']];
  if (before !== undefined) saw.push(['Its last good state was told at ', { atS: atS(gathered, before) }, '.']);
  else if (states === null) saw.push(['No good state of it is among these data.']);
  const others = new Set(
    gathered.events
      .filter(
        ({ atMs, draft }) =>
          draft.rule === alert.rule &&
          draft.subject !== alert.subject &&
          draft.change === 'raised' &&
          Math.abs(atMs - alert.fromMs) <= SAME_MOMENT_MS,
      )
      .map(({ draft }) => draft.place),
  );
  const together: Hint | null =
    others.size === 0
      ? null
      : {
          points: 'sensor',
          words: [
            `${counted(others.size, 'other brake sensor')} failed at the same moment (${listed([...others].slice(0, 4))}): look at the sender, its supply and its cable first.`,
          ],
        };
  const plots = plotsOf(statePlot(scene, applicationSpans(scene)), heatPlot(scene));
  return { plots, saw, hints: hints(together, aloneHint(scene, others.size)) };
};

/** The sender still tells of the other side: then it is heard, and one sensor is not. */
function aloneHint({ gathered, alert }: Scene, others: number): Hint | null {
  const states = seriesOf(gathered, otherSide(alert.subject), 'stroke state');
  if (others > 0 || states === null || states.low !== undefined) return null;
  if (Number.isNaN(valueBefore(states, alert.fromMs))) return null;
  return {
    points: 'sensor',
    words: [`The same sender went on to tell of ${placeOf(otherSide(alert.subject))}: it is this sensor or its cable.`],
  };
}
