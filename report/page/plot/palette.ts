import type { Urgency } from '../../../config/resolved.js';
import { COLOURS } from './style.js';

/** Colours of a canvas, as the style sheet has them now. */
export interface Palette {
  paper: string;
  ink: string;
  quiet: string;
  grid: string;
  shade: string;
  urgency: Record<Urgency, string>;
  lines: Record<string, string>;
}

export function paletteNow(): Palette {
  const style = getComputedStyle(document.documentElement);
  const of = (name: string): string => style.getPropertyValue(name).trim();
  const lines: Record<string, string> = {};
  for (let i = 1; i <= COLOURS; i++) lines[`--line-${i}`] = of(`--line-${i}`);
  return {
    paper: of('--paper'),
    ink: of('--ink'),
    quiet: of('--quiet'),
    grid: of('--grid'),
    shade: of('--shade'),
    urgency: { plan: of('--plan'), 'next-stop': of('--next-stop'), 'pull-over': of('--pull-over') },
    lines,
  };
}
