import type { RuleName } from '../../config/resolved.js';
import type { Plot } from '../data.js';
import { coolHint, dragHints, dragWords } from './brake-drag.js';
import {
  growthHint,
  hints,
  pressureHint,
  releasedHint,
  shortSideHint,
  singleFrameHint,
  togetherHint,
} from './brake-hints.js';
import { hot } from './brake-hot.js';
import { growing, lining, sensorFault, share } from './brake-others.js';
import { applicationSpans, heatPlot, pressureLimits, statePlot, strokeLimits, strokePlot } from './brake-plots.js';
import { type CountingRule, constantOf, resultsOf, type Way } from './brake-results.js';
import { countedWords, holdingWords, wayOf } from './brake-words.js';
import { plotsOf, spanOf } from './kit.js';
import type { Depict, Scene } from './picture.js';

/** What the first event of the alert was judged by; where nothing is known, the state. */
const wayOfAlert = ({ alert }: Scene): Way => (alert.events[0] === undefined ? 'state' : wayOf(alert.events[0]));

/** Both plots where there is both; what was judged comes first. */
function wheelPlots(scene: Scene, rule: CountingRule, limits: Parameters<typeof strokePlot>[2]): Plot[] {
  const ways: Way[] = wayOfAlert(scene) === 'state' ? ['state', 'stroke'] : ['stroke', 'state'];
  const plots = ways.map((way) => {
    const results = resultsOf(scene.gathered, rule, scene.alert.subject, way);
    const spans = applicationSpans(scene, results, holdingWords(rule, way));
    const pressures = pressureLimits(scene, rule === 'brake-overstroke' ? way : 'state');
    return way === 'state' ? statePlot(scene, spans, pressures) : strokePlot(scene, spans, [...limits, ...pressures]);
  });
  return plotsOf(...plots);
}

/** What the last applications before the raise have shown. */
const BEFORE_MS = 30 * 60_000;

const endOf = ({ gathered, alert }: Scene): number => alert.toMs ?? spanOf(gathered).toMs;

const overstroke: Depict = (scene) => {
  const { gathered, alert } = scene;
  const { subject } = alert;
  const way = wayOfAlert(scene);
  const results = resultsOf(gathered, 'brake-overstroke', subject, way);
  const until = results.filter(({ application }) => application.endMs <= endOf(scene));
  const farMm = constantOf(gathered, 'brake-overstroke', 'farMm');
  return {
    plots: [...wheelPlots(scene, 'brake-overstroke', strokeLimits(scene, farMm)), ...plotsOf(heatPlot(scene))],
    saw: countedWords(gathered, alert, 'brake-overstroke'),
    hints: hints(
      releasedHint(gathered, subject, { fromMs: alert.fromMs - BEFORE_MS, toMs: endOf(scene) }),
      pressureHint(gathered, until),
      singleFrameHint(until),
      togetherHint(gathered, 'brake-overstroke', subject, way, until),
      growthHint(gathered, subject, endOf(scene)),
    ),
  };
};

const notApplying: Depict = (scene) => {
  const { gathered, alert } = scene;
  const way = wayOfAlert(scene);
  const results = resultsOf(gathered, 'brake-not-applying', alert.subject, way).filter(
    ({ application }) => application.endMs <= endOf(scene),
  );
  return {
    plots: [...wheelPlots(scene, 'brake-not-applying', []), ...plotsOf(heatPlot(scene))],
    saw: countedWords(gathered, alert, 'brake-not-applying'),
    hints: hints(
      coolHint(gathered, alert.subject, { fromMs: alert.fromMs, toMs: endOf(scene) }),
      singleFrameHint(results),
      togetherHint(gathered, 'brake-not-applying', alert.subject, way, results),
    ),
  };
};

const dragging: Depict = (scene) => {
  const spans = applicationSpans(scene);
  return {
    plots: plotsOf(statePlot(scene, spans), strokePlot(scene, spans, []), heatPlot(scene)),
    saw: dragWords(scene),
    hints: dragHints(scene),
  };
};

const uneven: Depict = (scene) => {
  const { gathered, alert } = scene;
  const results = resultsOf(gathered, 'brake-stroke-uneven', alert.subject, 'stroke');
  const until = results.filter(({ application }) => application.endMs <= endOf(scene));
  const spans = applicationSpans(scene, results, holdingWords('brake-stroke-uneven', 'stroke'));
  // Where the short side is the wrong one, the change is none of this brake's.
  const short = shortSideHint(gathered, alert.subject, until);
  return {
    plots: plotsOf(strokePlot(scene, spans, strokeLimits(scene, 0)), heatPlot(scene)),
    saw: countedWords(gathered, alert, 'brake-stroke-uneven'),
    hints: hints(short ?? growthHint(gathered, alert.subject, endOf(scene))),
  };
};

/** What each rule on brakes has to show. */
export const BRAKE_PICTURES: Partial<Record<RuleName, Depict>> = {
  'brake-overstroke': overstroke,
  'brake-dragging': dragging,
  'brake-not-applying': notApplying,
  'brake-stroke-uneven': uneven,
  'brake-stroke-growing': growing,
  'brake-lining-low': lining,
  'brake-hot': hot,
  'brakes-defective-share': share,
  'brake-sensor-fault': sensorFault,
};
