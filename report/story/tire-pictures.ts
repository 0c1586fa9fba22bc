import type { RuleName } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Line, PlotLimit } from '../data.js';
import { tiresOf } from './peers.js';
import type { Depict } from './picture.js';
import { plotsOf, speedPlot } from './plots.js';
import { seriesOf } from './series.js';
import { limitLines } from './spans.js';
import { layoutMismatch, tiresOffTarget, trailerNotSeen } from './tire-common.js';
import { dualsUnequal } from './tire-duals.js';
import {
  brakeWasHot,
  fellAlongALine,
  fellInOneStep,
  fellWhileStanding,
  jumps,
  othersFellToo,
  repeatsItself,
  sensorWasInTrouble,
  type TireHint,
} from './tire-hints.js';
import { othersStandSo, pressureFollowedHeat, temperatureExplainsFall, twinIsHotToo } from './tire-hints-heat.js';
import { roseInOneStep } from './tire-hints-rise.js';
import { airWasGone, fellBeforeSilence, lostReadingsBefore, neverHeard, othersWereHeard } from './tire-hints-silent.js';
import { orUnclear } from './tire-hints-unclear.js';
import { lostPlot, slopeLines } from './tire-leak.js';
import { sawBegin, sawOnset } from './tire-onset.js';
import { brakePlot, peerTemperatures, pressurePlot, temperaturePlot } from './tire-plots.js';
import { sawFall, sawJudged, sawSilence, sawSteady } from './tire-saw.js';
import { type TireScene, tireScene } from './tire-scene.js';
import { isSlow, lostAtOnce, sawColdStarts, wholePressurePlot } from './tire-slow.js';
import { atS, lengthS } from './window.js';
import { counted, listed } from './wording.js';

/** Each hint that has something to say, in order. */
const hintsOf = (t: TireScene, ...find: TireHint[]): Hint[] => find.flatMap((f) => f(t) ?? []);

/** The same, and where none has: that the readings do not decide. */
const judged = (t: TireScene, ...find: TireHint[]): Hint[] => orUnclear(hintsOf(t, ...find), t.scene.alert.rule, [t]);

const FALL_HINTS: TireHint[] = [fellAlongALine, fellWhileStanding, othersFellToo, temperatureExplainsFall, brakeWasHot];
const SENSOR_HINTS: TireHint[] = [
  fellInOneStep,
  roseInOneStep,
  jumps,
  repeatsItself,
  sensorWasInTrouble,
  lostReadingsBefore,
];

const underinflated: Depict = (scene) => {
  const t = tireScene(scene);
  return {
    plots: plotsOf(pressurePlot(t, { limits: 'share', lines: asJudged(t) }), temperaturePlot(t), speedPlot(scene)),
    saw: [...sawJudged(t), ...sawOnset(t), ...sawFall(t)],
    hints: judged(
      t,
      ...SENSOR_HINTS,
      fellAlongALine,
      fellWhileStanding,
      othersFellToo,
      othersStandSo,
      temperatureExplainsFall,
      brakeWasHot,
    ),
  };
};

const overinflated: Depict = (scene) => {
  const t = tireScene(scene);
  return {
    plots: plotsOf(pressurePlot(t, { limits: 'share', lines: asJudged(t) }), temperaturePlot(t), speedPlot(scene)),
    saw: [...sawJudged(t), ...sawSteady(t)],
    hints: judged(
      t,
      roseInOneStep,
      jumps,
      repeatsItself,
      sensorWasInTrouble,
      lostReadingsBefore,
      othersStandSo,
      pressureFollowedHeat,
    ),
  };
};

/**
 * What the program itself took the pressure for at each of its changes. It takes off what all tires have in common, and so may
 * stand a few percent off the line.
 */
function asJudged({ gathered, scene, targetKpa }: TireScene): Line[] {
  const told = scene.alert.events.flatMap(({ atMs, draft: { measured: m } }) => {
    const isSeen = atMs >= scene.fromMs && atMs <= scene.toMs;
    const isPressure = m !== null && 'unit' in m && m.unit === 'kPa' && m.quantity === 'cold pressure';
    return isSeen && isPressure ? [{ s: atS(gathered, atMs), v: Math.round(m.value * 10) / 10 }] : [];
  });
  if (told.length === 0 || targetKpa === null) return [];
  return [
    { label: 'as judged', role: 'judged', axis: 0, s: told.map(({ s }) => s), v: told.map(({ v }) => v), gapS: 0 },
  ];
}

const losingAir: Depict = (scene) => {
  const t = tireScene(scene);
  const slow = isSlow(scene);
  // A leak over days leaves nothing in these minutes, unless it got worse.
  const isOnlySlow = slow && scene.alert.events.every(({ draft }) => draft.urgency === 'plan');
  const pressure = pressurePlot(t, { lines: slopeLines(t), more: forecastLimit(t) });
  return {
    plots: plotsOf(
      ...(slow ? [wholePressurePlot(scene)] : []),
      pressure,
      ...(isOnlySlow ? [] : [lostPlot(t)]),
      temperaturePlot(t),
      speedPlot(scene),
    ),
    saw: [...sawJudged(t), ...(slow ? sawColdStarts(t) : []), ...(isOnlySlow ? [] : [...sawBegin(t), ...sawFall(t)])],
    hints: judged(t, ...(slow ? [lostAtOnce] : []), ...SENSOR_HINTS, ...(isOnlySlow ? [] : FALL_HINTS)),
  };
};

/** The pressure that forecasts are about. */
function forecastLimit({ scene, targetKpa, show }: TireScene): PlotLimit[] {
  const share = scene.alert.constants.forecastShare;
  if (share === undefined || targetKpa === null) return [];
  const value = share * targetKpa;
  const label = `${Math.round(share * 100)} % of target, ${shown(value, 'kPa', show)}`;
  return [{ label, kind: 'other', urgency: 'next-stop', axis: 0, value: Math.round(value * 10) / 10 }];
}

const hot: Depict = (scene) => {
  const t = tireScene(scene);
  const { criteria } = scene.alert;
  const above = criteria['above-peers']?.raise ?? null;
  const limits = limitLines(scene, { axis: 0, unit: '°C', toAxis: (v, name) => (name === 'above-peers' ? null : v) });
  return {
    plots: plotsOf(
      temperaturePlot(t, { isJudged: true, limits, lines: peerTemperatures(t, above) }),
      pressurePlot(t),
      brakePlot(t),
      speedPlot(scene),
    ),
    saw: [...sawJudged(t), ...sawHeat(t)],
    hints: hintsOf(t, brakeWasHot, twinIsHotToo, pressureFollowedHeat, sensorWasInTrouble, lostReadingsBefore),
  };
};

function sawHeat({ celsius, gathered, show }: TireScene) {
  if (celsius === null) return [['No temperature was heard of this tire in these minutes.']];
  let i = 0;
  for (let k = 1; k < celsius.value.length; k++) if (celsius.value[k]! > celsius.value[i]!) i = k;
  return [
    [`It was hottest at `, { atS: atS(gathered, celsius.atMs[i]!) }, `, with ${shown(celsius.value[i]!, '°C', show)}.`],
  ];
}

const sensorSilent: Depict = (scene) => {
  if (scene.alert.subject === 'layout') return unheardUnit(scene);
  const t = tireScene(scene);
  return {
    plots: plotsOf(pressurePlot(t), temperaturePlot(t), speedPlot(scene)),
    saw: sawSilence(t),
    hints: hintsOf(
      t,
      neverHeard,
      othersWereHeard,
      fellBeforeSilence,
      airWasGone,
      lostReadingsBefore,
      sensorWasInTrouble,
    ),
  };
};

/** One alert for all tires that have never told anything. */
const unheardUnit: Depict = (scene) => {
  const { gathered } = scene;
  const all = tiresOf(gathered);
  const never = all.filter((tire) => seriesOf(gathered, tire, 'pressure') === null);
  const names = listed(never.slice(0, 6).map(placeOf)) + (never.length > 6 ? ' and more' : '');
  return {
    plots: plotsOf(speedPlot(scene)),
    saw: [
      [
        `In these data ${counted(never.length, 'tire')} of ${all.length} were never heard${never.length === 0 ? '' : `: ${names}`}.`,
      ],
    ],
    hints: [],
  };
};

const sensorFault: Depict = (scene) => {
  const t = tireScene(scene);
  const { gathered, alert } = scene;
  const event = alert.events[0]!;
  const m = event.draft.measured;
  const heard =
    t.raw === null
      ? 'no'
      : counted(
          t.raw.value.length,
          t.raw.low === undefined ? 'good reading' : 'minute with good readings',
          t.raw.low === undefined ? 'good readings' : 'minutes with good readings',
        );
  const lasts = lengthS(scene.toMs - scene.fromMs) / 60;
  return {
    plots: plotsOf(pressurePlot(t), temperaturePlot(t), speedPlot(scene)),
    saw: [
      [
        'At ',
        { atS: atS(gathered, event.atMs) },
        m !== null && 'code' in m
          ? ` the sender said of this sensor: ${m.text}.`
          : ' the sender called this sensor faulty.',
      ],
      [`In the ${Math.round(lasts)} minutes shown ${heard} of it came between.`],
    ],
    hints: hintsOf(t, jumps, repeatsItself, lostReadingsBefore),
  };
};

/** What each rule about tires has to show. */
export const TIRE_PICTURES: Partial<Record<RuleName, Depict>> = {
  'tire-underinflated': underinflated,
  'tire-losing-air': losingAir,
  'tire-overinflated': overinflated,
  'tire-hot': hot,
  'duals-unequal': dualsUnequal,
  'tire-sensor-silent': sensorSilent,
  'tire-sensor-fault': sensorFault,
  'layout-mismatch': layoutMismatch,
  'trailer-not-seen': trailerNotSeen,
  'tires-off-target': tiresOffTarget,
};
