import type uPlot from 'uplot';
import { type Clock, tickWords, timeTicks } from '../words/time.js';
import { stateWords } from '../words/units.js';
import { LANE, LANES_GAP } from './draw-behind.js';
import { fontOf } from './pencil.js';
import { decimalsOf } from './range.js';
import type { Layout } from './sheet.js';

/** Width of the axes at the left and at the right: the same in all plots, so that their instants stand below each other. */
export const LEFT = 72;
export const RIGHT = 46;
const TICK_WORDS = 17;
/** A label such as "13:05:10" and the space beside it. */
const TICK_SPACE = 74;
const FONT = 11;

const base = ({ palette, magnified }: Layout): uPlot.Axis => ({
  stroke: palette.quiet,
  font: fontOf(FONT * magnified),
  grid: { stroke: palette.grid, width: magnified },
  ticks: { show: false },
  border: { show: true, stroke: palette.quiet, width: magnified },
});

/** Time, on round instants of the reader's clock; lanes have their room between the plot and its words. */
export function timeAxis(layout: Layout, clock: Clock, lanes: number): uPlot.Axis {
  const { magnified } = layout;
  const room = lanes === 0 ? LANES_GAP : 2 * LANES_GAP + lanes * LANE - 4;
  let stepS = 1;
  return {
    ...base(layout),
    side: 2,
    gap: room * magnified,
    size: (room + TICK_WORDS) * magnified,
    splits: (plot, _axis, min, max) => {
      const most = Math.max(2, plot.bbox.width / devicePixelRatio / magnified / TICK_SPACE);
      const ticks = timeTicks(min, max, most, clock);
      stepS = ticks.stepS;
      return ticks.at;
    },
    values: (_plot, splits) => splits.map((s) => tickWords(s, stepS, clock)),
  };
}

export interface ValueAxis {
  scale: string;
  /** 3: left, 1: right */
  side: 1 | 3;
  isState: boolean;
}

export function valueAxis(layout: Layout, { scale, side, isState }: ValueAxis): uPlot.Axis {
  const { magnified } = layout;
  const look = base(layout);
  return {
    ...look,
    scale,
    side,
    gap: 5 * magnified,
    size: (side === 3 ? LEFT : RIGHT) * magnified,
    space: 34 * magnified,
    ...(side === 1 && { grid: { show: false } }),
    ...(isState
      ? { splits: () => [0, 1, 2, 3], values: (_: uPlot, splits: number[]) => splits.map(stateWords) }
      : {
          values: (_: uPlot, splits: number[], _axis: number, _space: number, step: number) =>
            splits.map((value) => value.toFixed(decimalsOf(step))),
        }),
  };
}

/** Pressure across, as in a scatter. */
export function numberAxis(layout: Layout): uPlot.Axis {
  const { magnified } = layout;
  return {
    ...base(layout),
    side: 2,
    gap: LANES_GAP * magnified,
    size: (LANES_GAP + TICK_WORDS) * magnified,
    space: 46 * magnified,
  };
}
