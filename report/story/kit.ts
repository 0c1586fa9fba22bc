/** What every family of pictures is made with. */
export { drawn, drawnAs, type LineLook, lineOf, UNITS } from './lines.js';
export {
  didPeersMoveToo,
  isStep,
  largestStep,
  lastRepeat,
  type Move,
  moveOf,
  type PerMinute,
  type Step,
  slopeOf,
} from './moves.js';
export { axleOf, matesOf, peersOf, subjectsOf, targetOf, tiresOf, wheelEndOf } from './peers.js';
export { plotOf, plotsOf, speedPlot } from './plots.js';
export { firstAt, type Points, pointsOf, seriesOf, valueBefore, within } from './series.js';
export {
  changeMarks,
  criterionName,
  criterionOf,
  delayOf,
  delaySpans,
  type LimitLook,
  limitLines,
  openOf,
  otherSpans,
  showOf,
} from './spans.js';
export { thin } from './thin.js';
export { atS, lengthS, spanOf, type Window, windowsOf } from './window.js';
export { capital, counted, lasting, listed } from './wording.js';
